//! Colours of a standalone figure: those of the report, each put in the place of its name.

use super::font;

/// The colours by name, for screen, dark screen and print; the report has the same file.
const COLOURS: &str = include_str!("colours.css");

/// What has which colour; the report has the same file.
const RULES: &str = include_str!("figure.css");

/// Which set of colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Theme {
    /// Dark on light, for a screen.
    Light,
    /// Light on dark.
    Dark,
    /// Dark on white.
    Print,
}

impl Theme {
    /// All of them.
    pub const ALL: [Theme; 3] = [Theme::Light, Theme::Dark, Theme::Print];

    /// In one word.
    pub fn word(self) -> &'static str {
        match self {
            Theme::Light => "light",
            Theme::Dark => "dark",
            Theme::Print => "print",
        }
    }
}

/// Names and values of the colours, the later ones first: a theme's own stand before the general ones.
fn colours(theme: Theme, lit: bool) -> Vec<(&'static str, &'static str)> {
    let mut parts = COLOURS.split("@media");
    let general = parts.next().unwrap_or("");
    let own = match theme {
        Theme::Light => "",
        Theme::Dark => parts.find(|p| p.contains("prefers-color-scheme: dark")).unwrap_or(""),
        Theme::Print => parts.find(|p| p.trim_start().starts_with("print")).unwrap_or(""),
    };
    let pairs = |text: &'static str| {
        text.split([';', '{', '}']).filter_map(|d| d.trim().strip_prefix("--")?.split_once(": "))
    };
    let mut all: Vec<_> = pairs(own).chain(pairs(general)).collect();
    if lit {
        let light = value(&all, "lit");
        // What is a ground at rest takes the light.
        all.splice(0..0, ["tint", "alike", "open", "shut", "behind"].map(|name| (name, light)));
    }
    all
}

fn value<'a>(colours: &[(&str, &'a str)], name: &str) -> &'a str {
    colours.iter().find(|(n, _)| *n == name).map_or("none", |(_, v)| v)
}

/// The colour of the ground, as a style sheet has it.
pub(super) fn ground(theme: Theme) -> &'static str {
    value(&colours(theme, false), "ground")
}

/// The rules of a figure with its colours in them. `lit` puts light behind the verdict strip and its bands.
pub(super) fn style(theme: Theme, lit: bool) -> String {
    let colours = colours(theme, lit);
    let mut parts = RULES.split("var(--");
    let mut out = format!(
        "svg {{ font-family: {}, system-ui, \"Segoe UI\", \"Helvetica Neue\", Arial, sans-serif; }}\n{}",
        font::FAMILY,
        parts.next().unwrap_or("")
    );
    for part in parts {
        let (name, rest) = part.split_once(')').unwrap_or((part, ""));
        out.push_str(resolved(&colours, name));
        out.push_str(rest);
    }
    out
}

/// A colour by name; a value that names another colour is followed once.
fn resolved<'a>(colours: &[(&str, &'a str)], name: &str) -> &'a str {
    let found = value(colours, name);
    match found.strip_prefix("var(--").and_then(|v| v.strip_suffix(')')) {
        Some(other) => value(colours, other),
        None => found,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_theme_has_every_colour_and_they_differ() {
        let styles = Theme::ALL.map(|t| style(t, false));
        for s in &styles {
            assert!(!s.contains("var(") && !s.contains(": none; }\n.lane"), "{s}");
            assert!(!s.contains("fill: ;") && !s.contains("@media"));
        }
        // A name without a value would read `none`; the style sheet itself says none only for curves and ranges.
        let own_nones = RULES.matches("none").count();
        assert!(styles.iter().all(|s| s.matches("none").count() == own_nones));
        assert!(styles[0] != styles[1] && styles[1] != styles[2] && styles[0] != styles[2]);
        // The renderer takes whole hundreds only, and the fonts have these two.
        let weights: Vec<&str> = RULES.split("font-weight: ").skip(1).map(|r| &r[..4]).collect();
        assert!(!weights.is_empty() && weights.iter().all(|w| *w == "600;"), "{weights:?}");
        assert_eq!(ground(Theme::Print), "#fff");
        assert_ne!(style(Theme::Light, true), styles[0]);
    }
}
