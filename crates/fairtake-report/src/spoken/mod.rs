//! Findings as words: a summary to be read aloud, a description for a reel, a table of regions as plain text.
//!
//! Everything is made from [`Findings`], and every number is rounded as everywhere else. What is said, and what always is:
//! `docs/methods/words.md`.

mod blind;
mod description;
mod fit;
mod heed;
mod level;
mod names;
mod phrase;
mod region;
mod table;

pub use description::{Chapter, description};
pub use fit::{Speech, WORDS_PER_MINUTE};
pub use names::one_line;
pub use phrase::Form;
pub use table::table;

use crate::heard::Heard;
use crate::words::number_of;
use fairtake_compare::{Claim, ComparisonFindings, Counts, Design, Findings, Playing};
use fit::{Need, Pieces};
use names::{Pair, source, takes_of};
use phrase::times;
use region::Words;

/// How long a summary may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Length {
    /// About 60 seconds.
    Minute,
    /// About 180 seconds.
    ThreeMinutes,
}

impl Length {
    /// In seconds.
    pub fn seconds(self) -> f64 {
        match self {
            Length::Minute => 60.0,
            Length::ThreeMinutes => 180.0,
        }
    }
}

/// What a text is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// One comparison, by its place in `comparisons`.
    Pair(usize),
    /// The whole run.
    Whole,
}

/// A summary to be read aloud.
///
/// Every region that is different by twice the margin or more is said in either length, and so is what is undecided and what
/// was left out, and every blind test of the pair: where that takes longer than was asked for, [`Speech::seconds`] says so.
pub fn speech(findings: &Findings, heard: &[Heard], about: About, length: Length) -> Speech {
    pieces(findings, heard, about, Form::Spoken, length).fitted(length)
}

fn pieces(findings: &Findings, heard: &[Heard], about: About, form: Form, length: Length) -> Pieces {
    let mut out = Pieces::default();
    // A run of one comparison is told as that one.
    let about = if findings.comparisons.len() == 1 && about == About::Whole { About::Pair(0) } else { about };
    match about {
        About::Pair(i) if i < findings.comparisons.len() => one(&mut out, findings, heard, i, (form, length)),
        _ if findings.comparisons.is_empty() => {
            out.must("There is no comparison to speak of: nothing is known.");
            out.paragraph();
            heed::heed(&mut out, form, findings, About::Whole, length);
        }
        _ => whole(&mut out, findings, heard, form, length),
    }
    out
}

/// One comparison.
fn one(out: &mut Pieces, findings: &Findings, heard: &[Heard], index: usize, (form, length): (Form, Length)) {
    let c = &findings.comparisons[index];
    let pair = Pair::of(findings, c);
    let short = length == Length::Minute;
    heading(out, &pair);
    out.must(of_source(findings, c));
    out.say(Need::May(1), made(findings, &pair, c));
    out.must(claim(c.claim));
    out.must(ranges(findings, c, form));
    out.paragraph();
    out.say(if short { Need::May(3) } else { Need::Must }, level::levels(form, &pair, c));
    out.must(level::loudness(form, &pair, c));
    out.say(Need::May(4), level::at_equal_gain(form, &pair, c));
    out.paragraph();
    if !region::nothing_judged(c) {
        out.must(level::matched(c));
        region::differences(out, form, &pair, c, if short { Words::Few } else { Words::Full });
        out.say(if short { Need::May(0) } else { Need::Must }, region::alike(form, c, length));
    }
    out.paragraph();
    unknown(out, c, form, length);
    out.paragraph();
    out.say(Need::May(2), level::noise(form, &pair, c));
    out.say(Need::May(5), level::bleed(form, &pair, c));
    out.paragraph();
    blind::blind(out, form, findings, &pair, c, heard);
    out.paragraph();
    heed::heed(out, form, findings, About::Pair(index), length);
}

/// What is not known of one comparison.
fn unknown(out: &mut Pieces, c: &ComparisonFindings, form: Form, length: Length) {
    if c.degrees_of_freedom.is_none() {
        out.must(NO_SPREAD);
    }
    out.must(region::undecided(form, c, length));
    out.must(region::not_judged(form, c, length));
    if length == Length::ThreeMinutes {
        for (i, sentence) in region::settling(form, c).into_iter().enumerate() {
            out.say(Need::May(30 + i), sentence);
        }
    }
}

/// Said where no interval is known.
const NO_SPREAD: &str = "There are too few repeats to know any spread, so nothing is decided.";

/// All comparisons, one paragraph each. What they share is said once.
fn whole(out: &mut Pieces, findings: &Findings, heard: &[Heard], form: Form, length: Length) {
    let all = &findings.comparisons;
    let distinct = |mut ids: Vec<&str>| {
        ids.sort_unstable();
        ids.dedup();
        ids.len()
    };
    out.must(format!(
        "This is about {}, {} and {}.",
        number_of(
            distinct(all.iter().flat_map(|c| [c.reference.as_str(), &c.against]).collect()),
            "microphone"
        ),
        number_of(distinct(all.iter().map(|c| c.source.as_str()).collect()), "source"),
        number_of(all.len(), "comparison")
    ));
    let placed = all.iter().filter(|c| c.claim == Claim::TheseTakes).count();
    out.must(match placed {
        0 => "This holds for these units on these sources, not for their models.",
        n if n == all.len() => claim(Claim::TheseTakes),
        _ => "Where nothing else is said, this holds for these units on these sources, not for their models.",
    });
    out.must(ranges(findings, &all[0], form));
    out.must(level::matched(&all[0]));
    for (i, c) in all.iter().enumerate() {
        let pair = Pair::of(findings, c);
        out.paragraph();
        let same = i > 0 && (&all[i - 1].reference, &all[i - 1].against) == (&c.reference, &c.against);
        if !same {
            heading(out, &pair);
        }
        out.must(of_source(findings, c));
        if c.claim == Claim::TheseTakes && placed < all.len() {
            out.must("This one holds as placed: microphone and placement cannot be told apart.");
        }
        if length == Length::ThreeMinutes {
            out.say(Need::May(2), level::levels(form, &pair, c));
        }
        let need = if length == Length::Minute { Need::May(0) } else { Need::Must };
        out.say(need, level::loudness(form, &pair, c));
        out.must(region::tally(c));
        if c.degrees_of_freedom.is_none() {
            out.must(NO_SPREAD);
        }
        if !region::nothing_judged(c) {
            region::each_difference(out, form, &pair, c, Words::Few);
            out.say(Need::May(1), region::undecided(form, c, length));
            out.say(Need::May(3), region::alike(form, c, length));
            out.say(Need::May(4), region::not_judged(form, c, length));
        }
        if length == Length::ThreeMinutes {
            out.say(Need::May(5), level::noise(form, &pair, c));
        }
        blind::blind(out, form, findings, &pair, c, heard);
    }
    out.paragraph();
    heed::heed(out, form, findings, About::Whole, length);
}

/// Which pair.
fn heading(out: &mut Pieces, pair: &Pair) {
    out.must(format!("{} against {}.", pair.full_against, pair.full_reference));
    if pair.reference != pair.full_reference || pair.against != pair.full_against {
        out.must(pair.stands_for());
    }
}

/// On which source; bare files have none to name.
fn of_source(findings: &Findings, c: &ComparisonFindings) -> String {
    if findings.title.is_none() && findings.sources.len() < 2 {
        return String::new();
    }
    format!("The source: {}.", source(findings, &c.source))
}

/// How the takes were made and how many there are.
fn made(findings: &Findings, pair: &Pair, c: &ComparisonFindings) -> String {
    let how = match c.design {
        Design::Together => "Both recorded the same playing at once.",
        Design::InTurn => "They were recorded in turn.",
        Design::InTurnWithWitness => {
            "They were recorded in turn, beside a third microphone that nobody moved."
        }
        Design::Replayed => "One recording was played back for both.",
    };
    let sustained = takes_of(findings, c).any(|t| t.playing == Playing::Sustained);
    let what = |n: u32| match (sustained, n) {
        (true, 1) => "second of sound",
        (true, _) => "seconds of sound",
        (false, 1) => "hit",
        (false, _) => "hits",
    };
    let of =
        |n: &Counts| format!("set up {}, with {} {} in all", times(n.placements), n.events, what(n.events));
    let (a, r) = (&c.counts.against, &c.counts.reference);
    if (a.placements, a.events) == (r.placements, r.events) {
        format!("{how} Each was {}.", of(a))
    } else {
        format!("{how} {} was {}; {} was {}.", pair.against, of(a), pair.reference, of(r))
    }
}

/// What the numbers speak about.
fn claim(claim: Claim) -> &'static str {
    match claim {
        Claim::TheseTakes => {
            "This holds for these takes as placed: microphone and placement cannot be told apart."
        }
        Claim::Microphones => "This holds for these two units on this source, not for their models.",
    }
}

/// What the margin and the ranges mean.
fn ranges(findings: &Findings, c: &ComparisonFindings, form: Form) -> String {
    format!(
        "The margin is {}: less does not matter here. Each “between” is a {} interval.",
        form.set_db(c.margin_db),
        form.percent(findings.settings.confidence)
    )
}
