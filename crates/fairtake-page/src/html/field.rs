//! Fields whose value goes into the log as soon as it is changed. What was seen goes along, so that nothing that somebody
//! else changed is overwritten.

use fairtake_files::Place;
use maud::{Markup, html};
use serde_json::{Value, json};

/// Where a field's value belongs.
pub(super) struct Field<'f> {
    /// Unique on the page.
    pub id: String,
    pub place: &'f Place,
    pub key: &'static str,
    /// Said to those who cannot see the table's head; also the visible label where there is none.
    pub label: String,
}

impl Field<'_> {
    /// A line of text.
    pub(super) fn text(&self, value: &str) -> Markup {
        html! { input type="text" id=(self.id) aria-label=(self.label) value=(value) autocomplete="off" spellcheck="false"
        data-edit=(self.edit()) data-kind="text" data-was=(json!(value)); }
    }

    /// Several lines of text.
    pub(super) fn lines(&self, value: &str) -> Markup {
        html! { textarea id=(self.id) aria-label=(self.label) rows="3" data-edit=(self.edit()) data-kind="text" data-was=(json!(value)) { (value) } }
    }

    /// A number, or nothing.
    pub(super) fn number(&self, value: Option<f64>, step: &str) -> Markup {
        let shown = value.map(|v| v.to_string()).unwrap_or_default();
        html! { input type="number" id=(self.id) aria-label=(self.label) value=(shown) step=(step) inputmode="decimal"
        data-edit=(self.edit()) data-kind="number" data-was=(json!(value)); }
    }

    /// One of several words; an empty one stands for nothing.
    pub(super) fn choice(&self, value: &str, options: &[(&str, &str)]) -> Markup {
        html! {
            select id=(self.id) aria-label=(self.label) data-edit=(self.edit()) data-kind="text" data-was=(json!(value)) {
                @for (word, shown) in options { option value=(word) selected[*word == value] { (shown) } }
            }
        }
    }

    /// On or off.
    pub(super) fn switch(&self, value: bool) -> Markup {
        html! { label { input type="checkbox" id=(self.id) checked[value] data-edit=(self.edit()) data-kind="switch"
        data-was=(if value { Value::from(true) } else { Value::Null }); " " (self.label) } }
    }

    /// One member of a list of texts, in it or not.
    pub(super) fn member(&self, list: &[String], member: &str, label: Markup) -> Markup {
        html! { label.member { input type="checkbox" id=(self.id) checked[list.iter().any(|m| m == member)]
        data-edit=(self.edit()) data-kind="member" data-member=(member) data-was=(json!(list)); " " (label) } }
    }

    fn edit(&self) -> String {
        json!({ "place": self.place, "key": self.key }).to_string()
    }
}

/// A button that takes an entry out of the log.
pub(super) fn remove(place: &Place, what: &str) -> Markup {
    html! { button.quietly type="button" data-remove=(json!(place)) aria-label=(format!("take {what} out of the log")) title="take out of the log" { "×" } }
}
