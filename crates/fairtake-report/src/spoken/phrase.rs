//! Numbers as they are read aloud or written: values, intervals, stretches of frequency, lists.

use fairtake_compare::wording::{hertz, outwards, rounded};

/// For the voice or for the eye: only units and signs are written differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// `minus 3.1 decibels`, `2.1 kilohertz`.
    Spoken,
    /// `−3.1 dB`, `2.1 kHz`.
    Written,
}

impl Form {
    /// The unit of levels and differences after a number.
    pub(super) fn db(self) -> &'static str {
        match self {
            Form::Spoken => "decibels",
            Form::Written => "dB",
        }
    }

    /// A level in LUFS with its sign.
    pub(super) fn lufs(self, level: f64) -> String {
        let shown = rounded(level);
        let sign = match self {
            _ if shown >= 0.0 => "",
            Form::Spoken => "minus ",
            Form::Written => "−",
        };
        format!("{sign}{:.1} LUFS", shown.abs())
    }

    /// A number that was set, not measured: as many decimals as it has.
    pub(super) fn set_db(self, value: f64) -> String {
        match self {
            Form::Spoken if value == 1.0 => "1 decibel".to_string(),
            _ => format!("{value} {}", self.db()),
        }
    }

    /// A share in per cent.
    pub(super) fn percent(self, share: f64) -> String {
        let value = rounded(share * 100.0);
        match self {
            Form::Spoken => format!("{value} percent"),
            Form::Written => format!("{value} %"),
        }
    }

    /// A stretch of frequency: `from 63 hertz to 2.1 kilohertz`; `near 10 kilohertz` where both ends read alike.
    pub(super) fn span(self, from_hz: f64, to_hz: f64) -> String {
        let (from, from_unit) = parts(from_hz);
        let (to, to_unit) = parts(to_hz);
        let word = |unit: &'static str| match (self, unit) {
            (Form::Written, _) => unit,
            (Form::Spoken, "kHz") => "kilohertz",
            (Form::Spoken, _) => "hertz",
        };
        if (&from, from_unit) == (&to, to_unit) {
            format!("near {from} {}", word(from_unit))
        } else if from_unit == to_unit {
            format!("from {from} to {to} {}", word(to_unit))
        } else {
            format!("from {from} {} to {to} {}", word(from_unit), word(to_unit))
        }
    }
}

/// A frequency as it is shown everywhere, number and unit; `2.0 kHz` is read as `2 kHz`.
fn parts(hz: f64) -> (String, &'static str) {
    let shown = hertz(hz);
    let (number, unit) = shown.split_once(' ').unwrap_or((&shown, "Hz"));
    let number = number.strip_suffix(".0").unwrap_or(number);
    (number.to_string(), if unit == "kHz" { "kHz" } else { "Hz" })
}

/// Words for the two directions of a difference.
#[derive(Debug, Clone, Copy)]
pub(super) struct Direction {
    pub more: &'static str,
    pub less: &'static str,
}

/// Of levels.
pub(super) const LOUD: Direction = Direction { more: "louder", less: "quieter" };
/// Of amounts.
pub(super) const MUCH: Direction = Direction { more: "more", less: "less" };

impl Direction {
    /// `3.6 decibels louder`, or `no louder and no quieter`; with `of` after the word.
    pub(super) fn amount(self, form: Form, value: f64, of: &str) -> String {
        let shown = rounded(value);
        let word = if shown > 0.0 { self.more } else { self.less };
        if shown == 0.0 {
            format!("no {}{of} and no {}{of}", self.more, self.less)
        } else {
            format!("{:.1} {} {word}{of}", shown.abs(), form.db())
        }
    }

    /// The interval after an amount: `, between 1.3 quieter and 8.4 louder`. A word is left out where the amount has said it.
    pub(super) fn between(self, estimate: f64, bounds: Option<(f64, f64)>) -> String {
        let Some((low, high)) = bounds.map(|(l, h)| outwards(l, h)) else {
            return ", its interval unknown".to_string();
        };
        let size = |v: f64| if v == 0.0 { "nothing".to_string() } else { format!("{:.1}", v.abs()) };
        let said = rounded(estimate);
        match (low, high) {
            (0.0, 0.0) => ", with no spread".to_string(),
            (l, h) if l < 0.0 && h > 0.0 => {
                format!(", between {} {} and {} {}", size(l), self.less, size(h), self.more)
            }
            (l, h) => {
                let (near, far, word, same) =
                    if h > 0.0 { (l, h, self.more, said > 0.0) } else { (h, l, self.less, said < 0.0) };
                let word = if same { String::new() } else { format!(" {word}") };
                format!(", between {} and {}{word}", size(near), size(far))
            }
        }
    }
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// The same with a comma before the last: for items that hold `to` and numbers.
pub(super) fn spans(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{}, and {last}", first.join(", ")),
    }
}

/// `once`, `twice`, `3 times`.
pub(super) fn times(n: u32) -> String {
    match n {
        1 => "once".to_string(),
        2 => "twice".to_string(),
        _ => format!("{n} times"),
    }
}

/// The first letter large: for the start of a sentence.
pub(super) fn start(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// Symbols of a written text as they are read aloud; numbers are left as they are.
pub(super) fn readable(form: Form, text: &str) -> String {
    if form == Form::Written {
        return text.to_string();
    }
    let text = text.replace('−', "minus ").replace('±', "plus or minus ").replace('–', " to ");
    let mut after_number = false;
    let mut out: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches([',', '.', ';', ':', ')']);
        let tail = &word[bare.len()..];
        let read = match bare {
            "dB" => Some("decibels"),
            "Hz" => Some("hertz"),
            "kHz" => Some("kilohertz"),
            "%" => Some("percent"),
            "mm" if after_number => Some("millimetres"),
            "ms" if after_number => Some("milliseconds"),
            "s" if after_number => Some("seconds"),
            _ => None,
        };
        after_number = bare.ends_with(|c: char| c.is_ascii_digit());
        out.push(read.map_or(word.to_string(), |r| format!("{r}{tail}")));
    }
    out.join(" ").replace("+", "plus ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_are_rounded_outwards_and_say_their_direction_where_it_is_not_clear() {
        let said = |e, l, h| LOUD.between(e, Some((l, h)));
        assert_eq!(said(3.56, -1.21, 8.32), ", between 1.3 quieter and 8.4 louder");
        assert_eq!(said(-4.59, -6.67, -2.51), ", between 2.5 and 6.7");
        assert_eq!(said(0.02, 0.01, 0.03), ", between nothing and 0.1 louder");
        assert_eq!(said(-0.6, -1.11, -0.04), ", between nothing and 1.2");
        assert_eq!(said(0.0, 0.0, 0.0), ", with no spread");
        assert_eq!(LOUD.between(1.0, None), ", its interval unknown");
    }

    #[test]
    fn an_amount_of_nothing_has_no_direction() {
        assert_eq!(MUCH.amount(Form::Spoken, -0.04, " noise"), "no more noise and no less noise");
        assert_eq!(MUCH.amount(Form::Written, -0.06, ""), "0.1 dB less");
    }

    #[test]
    fn frequencies_are_read_as_people_say_them() {
        assert_eq!(Form::Spoken.span(28.2, 63.1), "from 28 to 63 hertz");
        assert_eq!(Form::Spoken.span(63.1, 2113.0), "from 63 hertz to 2.1 kilohertz");
        assert_eq!(Form::Spoken.span(1995.0, 7943.0), "from 2 to 7.9 kilohertz");
        assert_eq!(Form::Written.span(9951.0, 10240.0), "near 10 kHz");
    }

    #[test]
    fn symbols_are_read_aloud_and_words_are_left() {
        assert_eq!(
            readable(Form::Spoken, "moves it by −0.1 dB (± 0.2); at 50 Hz, 3 % of 2 s"),
            "moves it by minus 0.1 decibels (plus or minus 0.2); at 50 hertz, 3 percent of 2 seconds"
        );
    }

    #[test]
    fn levels_are_said_with_their_sign() {
        assert_eq!(Form::Spoken.lufs(-33.04), "minus 33.0 LUFS");
        assert_eq!(
            (Form::Written.lufs(-0.04), Form::Written.lufs(-1.0)),
            ("0.0 LUFS".into(), "−1.0 LUFS".into())
        );
        assert_eq!(
            (Form::Spoken.set_db(1.0), Form::Written.set_db(0.25)),
            ("1 decibel".into(), "0.25 dB".into())
        );
    }
}
