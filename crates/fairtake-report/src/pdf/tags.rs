//! The structure of the document for those who do not see it: what is a heading, a list, a table.

use krilla::tagging::{Identifier, ListNumbering, Node, TableHeaderScope, Tag, TagGroup, TagKind, TagTree};
use std::num::NonZeroU16;

/// What a part of the document is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    Section,
    Heading(u16, String),
    Paragraph,
    List,
    Item,
    Label,
    Body,
    Table,
    Caption,
    Head,
    Rows,
    Row,
    /// A head of its row, or of its column.
    HeadCell {
        of_row: bool,
    },
    Cell,
    /// A picture, in words.
    Figure(String),
    Contents,
    Entry,
    Link,
}

impl Role {
    fn kind(&self) -> TagKind {
        match self {
            Role::Section => Tag::Section.into(),
            Role::Heading(level, text) => {
                Tag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(text.clone())).into()
            }
            Role::Paragraph => Tag::P.into(),
            Role::List => Tag::L(ListNumbering::None).into(),
            Role::Item => Tag::LI.into(),
            Role::Label => Tag::Lbl.into(),
            Role::Body => Tag::LBody.into(),
            Role::Table => Tag::Table.into(),
            Role::Caption => Tag::Caption.into(),
            Role::Head => Tag::THead.into(),
            Role::Rows => Tag::TBody.into(),
            Role::Row => Tag::TR.into(),
            Role::HeadCell { of_row: true } => Tag::TH(TableHeaderScope::Row).into(),
            Role::HeadCell { of_row: false } => Tag::TH(TableHeaderScope::Column).into(),
            Role::Cell => Tag::TD.into(),
            Role::Figure(words) => Tag::Figure(Some(words.clone())).into(),
            Role::Contents => Tag::TOC.into(),
            Role::Entry => Tag::TOCI.into(),
            Role::Link => Tag::Link.into(),
        }
    }
}

/// A node of the structure, by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NodeId(usize);

enum Child {
    Node(usize),
    Leaf(Identifier),
}

/// The structure, in the order of reading.
#[derive(Default)]
pub(super) struct Tags {
    nodes: Vec<(Role, Vec<Child>)>,
    roots: Vec<usize>,
}

impl Tags {
    /// Adds a part at the end of `parent`, or of the document.
    pub fn add(&mut self, parent: Option<NodeId>, role: Role) -> NodeId {
        let id = self.nodes.len();
        self.nodes.push((role, Vec::new()));
        match parent {
            Some(NodeId(parent)) => self.nodes[parent].1.push(Child::Node(id)),
            None => self.roots.push(id),
        }
        NodeId(id)
    }

    /// Notes what stands on a page for a part.
    pub fn leaf(&mut self, of: NodeId, leaf: Identifier) {
        self.nodes[of.0].1.push(Child::Leaf(leaf));
    }

    /// The finished tree.
    pub fn tree(&self) -> TagTree {
        let mut tree = TagTree::new();
        for root in &self.roots {
            tree.push(self.group(*root));
        }
        tree
    }

    fn group(&self, id: usize) -> TagGroup {
        let (role, children) = &self.nodes[id];
        let children = children.iter().map(|child| match child {
            Child::Node(id) => Node::Group(self.group(*id)),
            Child::Leaf(leaf) => Node::Leaf(*leaf),
        });
        TagGroup::with_children(role.kind(), children.collect())
    }
}
