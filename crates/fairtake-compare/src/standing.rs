//! Where a source stands: what is settled, what is not, and what would settle it; so that it is known when microphones
//! may be struck. Said from findings only.

use crate::wording::hertz;
use crate::{Claim, ComparisonFindings, Counts, Findings, Region, SettleReason, Unit, Verdict};
use serde::{Deserialize, Serialize};

/// No more stretches of frequency than this are listed.
const MOST_LISTED: usize = 2;
/// Below two placements a microphone and its place cannot be told apart (METHOD: two claims).
const FEWEST_PLACEMENTS: u32 = 2;

/// Where one pair stands on one source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// Key of the source.
    pub source: String,
    /// Key of the reference.
    pub reference: String,
    /// Key of the other microphone.
    pub against: String,
    /// True when nothing more that could reasonably be recorded would settle more: the microphones may be struck.
    pub settled: bool,
    /// What is needed yet.
    pub needs: Vec<Need>,
    /// All of it in one line.
    pub text: String,
}

/// What one microphone needs more of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Need {
    /// Key of the microphone.
    pub mic: String,
    /// How many more.
    pub more: u32,
    /// Of what.
    pub unit: Unit,
}

/// Where every pair on a source stands, in the order of the findings.
pub fn standing(findings: &Findings, source: &str) -> Vec<Standing> {
    let here = findings.comparisons.iter().filter(|c| c.source == source);
    here.map(of_comparison).collect()
}

fn of_comparison(c: &ComparisonFindings) -> Standing {
    let undecided: Vec<&Region> = c.regions.iter().filter(|r| r.verdict == Verdict::Undecided).collect();
    let reachable = |r: &&&Region| r.settle.as_ref().is_some_and(|s| s.reason == SettleReason::Reachable);
    let open: Vec<&Region> = undecided.iter().filter(reachable).copied().collect();
    let beyond: Vec<&Region> = undecided.iter().filter(|r| !reachable(r)).copied().collect();
    let needs = needs(c, &open);
    let decided = c.regions.iter().any(|r| matches!(r.verdict, Verdict::Alike | Verdict::Different));
    let mut parts = Vec::new();
    if !needs.is_empty() {
        let verb = if open.len() == 1 { "needs" } else { "need" };
        parts.push(format!("{} {verb} {}", spans(&open), listed(&needs)));
    }
    let beyond_for = |reason: SettleReason| -> Vec<&Region> {
        beyond.iter().filter(|r| r.settle.as_ref().is_some_and(|s| s.reason == reason)).copied().collect()
    };
    let far = beyond_for(SettleReason::OutOfReach);
    if !far.is_empty() {
        let verb = if far.len() == 1 { "is" } else { "are" };
        parts.push(format!("{} {verb} out of reach at this spread", spans(&far)));
    }
    let near: Vec<&Region> = beyond.iter().filter(|r| !far.contains(r)).copied().collect();
    if !near.is_empty() {
        let verb = if near.len() == 1 { "lies" } else { "lie" };
        parts.push(format!("{} {verb} at the margin", spans(&near)));
    }
    let as_placed = as_placed(c);
    let rest = match (parts.is_empty(), decided, as_placed.is_empty()) {
        (false, true, _) => Some("all else is settled"),
        (false, false, _) => None,
        (true, _, true) => Some("all is settled"),
        (true, _, false) => Some("as placed, all is settled"),
    };
    parts.extend(rest.map(str::to_string));
    if !as_placed.is_empty() {
        parts.push(format!("to speak of the microphones, {}", listed(&as_placed)));
    }
    let settled = needs.is_empty() && as_placed.is_empty();
    let needs = if needs.is_empty() { as_placed } else { needs };
    Standing {
        source: c.source.clone(),
        reference: c.reference.clone(),
        against: c.against.clone(),
        settled,
        needs,
        text: parts.join("; "),
    }
}

/// What each microphone still needs so that every open region could be called.
fn needs(c: &ComparisonFindings, open: &[&Region]) -> Vec<Need> {
    let most = |pick: fn(&crate::Settle) -> Option<u32>| {
        open.iter().filter_map(|r| r.settle.as_ref().and_then(pick)).max()
    };
    let placements = most(|s| s.placements);
    let events = most(|s| s.events);
    let sides = [
        (&c.reference, &c.counts.reference, c.n_effective.reference),
        (&c.against, &c.counts.against, c.n_effective.against),
    ];
    let mut out = Vec::new();
    for (mic, counts, n_effective) in sides {
        let (wanted, there_are, unit) = match (placements, events) {
            (Some(n), _) => (n, counts.placements, Unit::Placement),
            // Passes are counted as they are; of hits and seconds those played, whatever of them is independent.
            (None, Some(n)) if c.unit == Unit::Performance => (n, n_effective.floor() as u32, c.unit),
            (None, Some(n)) => (n, counts.events, c.unit),
            (None, None) => continue,
        };
        let more = wanted.saturating_sub(there_are);
        if more > 0 {
            out.push(Need { mic: mic.clone(), more, unit });
        }
    }
    // A number is per microphone: where both have it already, the next one is what is left to try.
    if out.is_empty() && (placements.is_some() || events.is_some()) {
        let unit = if placements.is_some() { Unit::Placement } else { c.unit };
        out.extend(sides.map(|(mic, _, _)| Need { mic: mic.clone(), more: 1, unit }));
    }
    out
}

/// Placements that are missing before anything can be said of the microphones and not only of the takes.
fn as_placed(c: &ComparisonFindings) -> Vec<Need> {
    if c.claim == Claim::Microphones {
        return Vec::new();
    }
    let missing = |mic: &String, counts: &Counts| {
        let more = FEWEST_PLACEMENTS.saturating_sub(counts.placements);
        (more > 0).then(|| Need { mic: mic.clone(), more, unit: Unit::Placement })
    };
    [missing(&c.reference, &c.counts.reference), missing(&c.against, &c.counts.against)]
        .into_iter()
        .flatten()
        .collect()
}

/// `one more placement of moorhen`, `2 more placements of moorhen and heron`, `5 more hits of moorhen and 3 of heron`.
fn listed(needs: &[Need]) -> String {
    let count = |n: &Need| {
        if n.more == 1 {
            format!("one more {}", n.unit.words(1))
        } else {
            format!("{} more {}", n.more, n.unit.words(n.more))
        }
    };
    match needs {
        [a, b] if a.more == b.more && a.unit == b.unit => {
            format!("{} each of {} and {}", count(a), a.mic, b.mic)
        }
        [a, b] => format!("{} of {} and {} of {}", count(a), a.mic, b.more, b.mic),
        all => all.iter().map(|n| format!("{} of {}", count(n), n.mic)).collect::<Vec<_>>().join(" and "),
    }
}

/// The stretches, the widest first, so many as can be taken in at a glance.
fn spans(regions: &[&Region]) -> String {
    let mut widest: Vec<&&Region> = regions.iter().collect();
    widest.sort_by(|a, b| (b.to_hz / b.from_hz).total_cmp(&(a.to_hz / a.from_hz)));
    widest.truncate(MOST_LISTED);
    widest.sort_by(|a, b| a.from_hz.total_cmp(&b.from_hz));
    let mut names: Vec<String> = widest.iter().map(|r| span(r)).collect();
    match regions.len() - names.len() {
        0 => {}
        1 => names.push("one more stretch".into()),
        n => names.push(format!("{n} more stretches")),
    }
    match names.as_slice() {
        [some @ .., last] if !some.is_empty() => format!("{} and {last}", some.join(", ")),
        _ => names.concat(),
    }
}

/// `80–160 Hz`, `1.2–2.5 kHz`, `630 Hz–1.2 kHz`.
fn span(r: &Region) -> String {
    let (from, to) = (hertz(r.from_hz), hertz(r.to_hz));
    match (from.rsplit_once(' '), to.rsplit_once(' ')) {
        (Some((number, unit)), Some((_, other))) if unit == other => format!("{number}–{to}"),
        _ => format!("{from}–{to}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{hits, take};
    use crate::{Comparison, Settings, Settle, Shootout, compare};

    /// Findings of real takes, whose regions and counts are then set to what a case needs.
    fn findings() -> Findings {
        let takes = vec![take("heron", 1, hits(1, 1.0)), take("moorhen", 2, hits(2, 1.0))];
        let asked = Comparison {
            reference: None,
            pair: None,
            source: None,
            recognised: None,
            version: "test".into(),
        };
        compare(&takes, &Shootout::default(), &Settings::standard(), &asked).expect("compares").findings
    }

    fn region(from_hz: f64, to_hz: f64, verdict: Verdict, settle: Option<Settle>) -> Region {
        Region { from_hz, to_hz, verdict, difference_db: Some(1.0), low_db: None, high_db: None, settle }
    }

    fn placements(n: u32) -> Option<Settle> {
        Some(Settle { events: None, placements: Some(n), reason: SettleReason::Reachable })
    }

    fn said(claim: Claim, placed: [u32; 2], regions: Vec<Region>) -> Standing {
        let mut f = findings();
        let c = &mut f.comparisons[0];
        c.claim = claim;
        c.unit = if claim == Claim::Microphones { Unit::Placement } else { Unit::Event };
        (c.counts.reference.placements, c.counts.against.placements) = (placed[0], placed[1]);
        (c.counts.reference.events, c.counts.against.events) = (12, 10);
        // What hangs together counts less, but what is missing is counted in what is played.
        (c.n_effective.reference, c.n_effective.against) = (6.0, 5.0);
        c.regions = regions;
        standing(&f, "drum").remove(0)
    }

    #[test]
    fn what_is_missing_is_counted_from_what_is_there() {
        let alike = region(160.0, 9000.0, Verdict::Alike, None);
        let low = region(80.0, 160.0, Verdict::Undecided, placements(4));
        let one = said(Claim::Microphones, [4, 3], vec![low.clone(), alike.clone()]);
        assert_eq!(one.text, "80–160 Hz needs one more placement of moorhen; all else is settled");
        assert!(!one.settled);
        assert_eq!(one.needs, [Need { mic: "moorhen".into(), more: 1, unit: Unit::Placement }]);
        let both = said(Claim::Microphones, [2, 2], vec![low, alike]);
        assert_eq!(
            both.text,
            "80–160 Hz needs 2 more placements each of heron and moorhen; all else is settled"
        );
    }

    #[test]
    fn all_settled_lets_the_microphones_be_struck_only_where_they_were_placed_twice() {
        let alike = || vec![region(80.0, 9000.0, Verdict::Alike, None)];
        let done = said(Claim::Microphones, [2, 2], alike());
        assert_eq!((done.text.as_str(), done.settled), ("all is settled", true));
        let placed_once = said(Claim::TheseTakes, [1, 1], alike());
        assert_eq!(
            placed_once.text,
            "as placed, all is settled; to speak of the microphones, one more placement each of heron and moorhen"
        );
        assert!(!placed_once.settled);
    }

    #[test]
    fn hits_are_counted_and_what_no_take_can_settle_is_said() {
        let events = Some(Settle { events: Some(20), placements: None, reason: SettleReason::Reachable });
        let margin = Some(Settle { events: None, placements: None, reason: SettleReason::NearMargin });
        let regions = vec![
            region(80.0, 160.0, Verdict::Undecided, events),
            region(160.0, 2000.0, Verdict::Different, None),
            region(2000.0, 2500.0, Verdict::Undecided, margin),
        ];
        let open = said(Claim::TheseTakes, [2, 2], regions.clone());
        assert_eq!(
            open.text,
            "80–160 Hz needs 8 more hits of heron and 10 of moorhen; 2.0–2.5 kHz lies at the margin; all else is settled"
        );
        let beyond = said(Claim::Microphones, [2, 2], regions[1..].to_vec());
        assert!(beyond.settled, "nothing more can be done");
        let mut far = regions[1..].to_vec();
        far[1].settle = Some(Settle { events: None, placements: None, reason: SettleReason::OutOfReach });
        let far = said(Claim::Microphones, [2, 2], far);
        assert_eq!(far.text, "2.0–2.5 kHz is out of reach at this spread; all else is settled");
    }

    #[test]
    fn many_stretches_are_summed_up() {
        let at = |hz: f64, width: f64| region(hz, hz * width, Verdict::Undecided, placements(3));
        let many = said(
            Claim::Microphones,
            [2, 3],
            vec![at(50.0, 1.2), at(100.0, 2.0), at(800.0, 1.5), at(9000.0, 1.1)],
        );
        assert!(
            many.text.starts_with(
                "100–200 Hz, 800 Hz–1.2 kHz and 2 more stretches need one more placement of heron"
            ),
            "{}",
            many.text
        );
    }
}
