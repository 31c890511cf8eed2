//! Writes laid-out pages as a PDF file.

use super::PdfError;
use super::blocks::SMALL;
use super::flow::{Colour, Entry, Flow, Frame, INK, Item, LEFT, PAGE, Placed, Style, WHITE, WIDTH};
use super::letters::{Letters, Weight};
use super::tags::{NodeId, Tags};
use krilla::annotation::{Annotation, LinkAnnotation, Target};
use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla::{Document, SerializeSettings};
use krilla_svg::{SurfaceExt, SvgSettings};

/// How far above a heading a link leads.
const ABOVE: f32 = 12.0;

/// Base line of the page number.
const FOOT: f32 = PAGE.1 - 34.0;

/// The finished file.
pub(super) fn document(flow: Flow, title: &str, creator: String) -> Result<Vec<u8>, PdfError> {
    let Flow { letters, pages, mut tags, entries, targets, .. } = flow;
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|e| PdfError::Unsound(format!("{e:?}")))?;
    let settings = SerializeSettings { configuration, enable_tagging: true, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    let title = letters.settable(title, &mut Vec::new());
    let n_pages = pages.len();
    let entry = |target: usize| targets.get(target).and_then(|i| entries.get(*i));
    for (number, items) in pages.into_iter().enumerate() {
        let Some(size) = PageSettings::from_wh(PAGE.0, PAGE.1) else { continue };
        let mut page = document.start_page_with(size);
        let mut links = Vec::new();
        let mut surface = page.surface();
        let mut pen = Pen { surface: &mut surface, letters, tags: &mut tags };
        for Placed { item, of } in items {
            match item {
                Item::Link { at, size, target, words } => links.push((at, size, target, words, of)),
                Item::PageOf { at, target, style } => {
                    let number = entry(target).map_or(String::new(), |e| (e.page + 1).to_string());
                    pen.ending(at, &number, style, of);
                }
                other => pen.item(other, of)?,
            }
        }
        pen.foot(&title, number + 1, n_pages);
        surface.finish();
        for ((x, y), (width, height), target, words, of) in links {
            let (Some(rect), Some(e)) = (Rect::from_xywh(x, y, width, height), entry(target)) else {
                continue;
            };
            let link = LinkAnnotation::new(rect, Target::Destination(place(e).into()));
            let id = page.add_tagged_annotation(Annotation::new_link(link, Some(words)));
            if let Some(of) = of {
                tags.leaf(of, id);
            }
        }
        page.finish();
    }
    document.set_outline(outline(&entries));
    document.set_tag_tree(tags.tree());
    document.set_metadata(Metadata::new().title(title).language("en".to_string()).creator(creator));
    document.finish().map_err(|e| PdfError::Unsound(format!("{e:?}")))
}

/// Where an entry stands.
fn place(e: &Entry) -> XyzDestination {
    XyzDestination::new(e.page, Point::from_xy(0.0, (e.y - ABOVE).max(0.0)))
}

/// The title and sections, and the parts of each under it.
fn outline(entries: &[Entry]) -> Outline {
    let mut outline = Outline::new();
    let mut open: Option<OutlineNode> = None;
    for e in entries {
        let node = OutlineNode::new(e.text.clone(), place(e));
        match open.as_mut().filter(|_| e.level > 2) {
            Some(section) => section.push_child(node),
            None => {
                if let Some(done) = open.replace(node) {
                    outline.push_child(done);
                }
            }
        }
    }
    if let Some(done) = open {
        outline.push_child(done);
    }
    outline
}

/// Draws on one page.
struct Pen<'a, 'b> {
    surface: &'a mut Surface<'b>,
    letters: &'a Letters,
    tags: &'a mut Tags,
}

impl Pen<'_, '_> {
    fn item(&mut self, item: Item, of: Option<NodeId>) -> Result<(), PdfError> {
        match item {
            Item::Text { at, text, style, level } => {
                self.begin(of, ContentTag::Span(SpanTag::empty()));
                self.text(at, &text, style, level);
                self.surface.end_tagged();
            }
            Item::Rule { from, to, width, colour } => {
                self.begin(None, ContentTag::Other);
                self.line(from, to, width, colour);
                self.surface.end_tagged();
            }
            Item::Mark { at, side, frame, sign } => {
                self.begin(None, ContentTag::Other);
                self.mark(at, side, frame, sign);
                self.surface.end_tagged();
            }
            Item::Drawing { at, size, drawing } => {
                let Some(size) = Size::from_wh(size.0, size.1) else { return Ok(()) };
                self.begin(of, ContentTag::Other);
                self.surface.push_transform(&Transform::from_translate(at.0, at.1));
                let drawn = self.surface.draw_svg(&drawing.tree, size, SvgSettings::default());
                self.surface.pop();
                self.surface.end_tagged();
                drawn.ok_or_else(|| PdfError::Unsound("a picture was refused".into()))?;
            }
            Item::PageOf { .. } | Item::Link { .. } => {}
        }
        Ok(())
    }

    /// Begins a piece of content: of a part of the structure, or of none.
    fn begin(&mut self, of: Option<NodeId>, tag: ContentTag) {
        match of {
            Some(node) => {
                let leaf = self.surface.start_tagged(tag);
                self.tags.leaf(node, leaf);
            }
            None => {
                let artifact = Artifact::with_kind(ArtifactType::Layout);
                self.surface.start_tagged(ContentTag::Artifact(artifact));
            }
        }
    }

    fn text(&mut self, (x, y): (f32, f32), text: &str, style: Style, level: bool) {
        let glyphs = self.letters.shaped(text, style.weight, level);
        self.surface.set_stroke(None);
        self.surface.set_fill(Some(fill(style.colour)));
        let font = self.letters.font(style.weight);
        self.surface.draw_glyphs(Point::from_xy(x, y), &glyphs, font, text, style.size, false);
    }

    /// A text that ends at a place.
    fn ending(&mut self, (right, y): (f32, f32), text: &str, style: Style, of: Option<NodeId>) {
        let width = self.letters.width(text, style.weight, false) * style.size;
        self.begin(of, ContentTag::Span(SpanTag::empty()));
        self.text((right - width, y), text, style, false);
        self.surface.end_tagged();
    }

    fn line(&mut self, from: (f32, f32), to: (f32, f32), width: f32, colour: Colour) {
        let mut path = PathBuilder::new();
        path.move_to(from.0, from.1);
        path.line_to(to.0, to.1);
        let Some(path) = path.finish() else { return };
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(stroke(colour, width)));
        self.surface.draw_path(&path);
        self.surface.set_stroke(None);
    }

    fn mark(&mut self, (x, y): (f32, f32), side: f32, frame: Frame, sign: &str) {
        let path = if frame == Frame::Round { circle(x, y, side) } else { square(x, y, side) };
        if let Some(path) = path {
            let mut stroke = stroke(INK, 0.8);
            if frame == Frame::Dashed {
                stroke.dash = Some(StrokeDash { array: vec![1.6, 1.4], offset: 0.0 });
            }
            self.surface.set_fill((frame == Frame::Filled).then(|| fill(INK)));
            self.surface.set_stroke(Some(stroke));
            self.surface.draw_path(&path);
        }
        let colour = if frame == Frame::Filled { WHITE } else { INK };
        let style = Style { size: side * 0.78, leading: side, weight: Weight::Semibold, colour };
        let width = self.letters.width(sign, style.weight, false) * style.size;
        self.text((x + (side - width) / 2.0, y + side / 2.0 + style.size * 0.36), sign, style, false);
    }

    /// Title and number at the foot of a page.
    fn foot(&mut self, title: &str, number: usize, of: usize) {
        let said = format!("{number} of {of}");
        let width = self.letters.width(&said, SMALL.weight, false) * SMALL.size;
        let room = (WIDTH - width - 30.0) / SMALL.size;
        let mut lines = self.letters.lines(title, SMALL.weight, room);
        let more = lines.len() > 1;
        let mut first = if lines.is_empty() { String::new() } else { lines.swap_remove(0) };
        if more {
            first = format!("{} …", first.trim_end());
        }
        let artifact = Artifact::with_kind(ArtifactType::Footer);
        self.surface.start_tagged(ContentTag::Artifact(artifact));
        self.text((LEFT, FOOT), &first, SMALL, false);
        self.text((LEFT + WIDTH - width, FOOT), &said, SMALL, false);
        self.surface.end_tagged();
    }
}

fn fill(colour: Colour) -> Fill {
    Fill { paint: rgb::Color::new(colour.0, colour.1, colour.2).into(), ..Fill::default() }
}

fn stroke(colour: Colour, width: f32) -> Stroke {
    Stroke { paint: rgb::Color::new(colour.0, colour.1, colour.2).into(), width, ..Stroke::default() }
}

fn square(x: f32, y: f32, side: f32) -> Option<krilla::geom::Path> {
    let mut path = PathBuilder::new();
    path.push_rect(Rect::from_xywh(x, y, side, side)?);
    path.finish()
}

/// A circle in four cubic curves; 0.5523 of the radius brings them within 0.03 % of it.
fn circle(x: f32, y: f32, side: f32) -> Option<krilla::geom::Path> {
    let r = side / 2.0;
    let (cx, cy, k) = (x + r, y + r, r * 0.5523);
    let mut path = PathBuilder::new();
    path.move_to(cx + r, cy);
    path.cubic_to(cx + r, cy + k, cx + k, cy + r, cx, cy + r);
    path.cubic_to(cx - k, cy + r, cx - r, cy + k, cx - r, cy);
    path.cubic_to(cx - r, cy - k, cx - k, cy - r, cx, cy - r);
    path.cubic_to(cx + k, cy - r, cx + r, cy - k, cx + r, cy);
    path.close();
    path.finish()
}
