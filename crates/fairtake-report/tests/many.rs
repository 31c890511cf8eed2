//! All microphones of a source in one picture, read back as text and as pixels.

mod made;

use fairtake_compare::{Distance, Findings, PairDistance};
use fairtake_report::figure::{FigureError, Letters, Many, Still, Theme, png_of_many, svg_of_many};
use fairtake_report::{data, words};
use made::{drum, read};

/// So many microphones, whose comparisons are all that of two; the names begin alike.
fn findings(n: usize) -> Findings {
    let mut findings = drum();
    let (mic, comparison) = (findings.mics[0].clone(), findings.comparisons[0].clone());
    findings.mics.clear();
    findings.comparisons.clear();
    findings.title = Some("Boathouse <&> \u{7}".into());
    for i in 0..n {
        let mut mic = mic.clone();
        (mic.id, mic.name) = (format!("m{i}"), format!("Moorhen of the old boathouse {i}"));
        findings.mics.push(mic);
        if i > 0 {
            let mut c = comparison.clone();
            (c.reference, c.against) = ("m0".into(), format!("m{i}"));
            findings.comparisons.push(c);
        }
    }
    findings
}

/// A distance that no other pair has.
fn between(i: usize, j: usize) -> PairDistance {
    let distance = Distance {
        mean_db: Some(5.0 + i as f64 + j as f64 / 100.0 * 10.0),
        at_least_db: Some(0.1 * j as f64),
        different_octaves: 1.0,
        alike_octaves: 2.0,
        undecided_octaves: 3.0,
    };
    PairDistance { source: "drum".into(), first: format!("m{i}"), second: format!("m{j}"), distance }
}

fn all_pairs(n: usize) -> Vec<PairDistance> {
    (1..n).flat_map(|i| (i + 1..n).map(move |j| between(i, j))).collect()
}

fn texts(svg: &str) -> Vec<&str> {
    svg.split("<text ").skip(1).filter_map(|t| Some(t.split_once('>')?.1.split_once("</text>")?.0)).collect()
}

/// Numbers in an attribute of every element of a kind.
fn numbers(svg: &str, element: &str, name: &str) -> Vec<f64> {
    let value = |e: &str| e.split_once(&format!(" {name}=\""))?.1.split_once('"')?.0.parse().ok();
    svg.split(element).skip(1).filter_map(|e| value(e.split_once('>')?.0)).collect()
}

const SIZES: [(u32, u32); 3] = [(1920, 1080), (1080, 1080), (1080, 1350)];

#[test]
fn thirty_microphones_are_read_at_every_usual_size() {
    let many = Many::new(&findings(30), "drum", &all_pairs(30)).expect("a picture");
    for (width, height) in SIZES {
        let still = Still { width, height, ..Still::SCREEN };
        let svg = svg_of_many(&many, &still).expect("room");
        // Letters of 8 px or more: a unit is a thirteenth of a letter, the smallest letters are 0.85 of it.
        let units: f64 = svg
            .split("viewBox=\"0 0 ")
            .nth(1)
            .and_then(|v| v.split(' ').next()?.parse().ok())
            .expect("units");
        let letter_px = f64::from(width) / units * 13.0;
        assert!(letter_px * 0.85 >= 7.0, "{width} × {height}: letters of {letter_px} px");
        let (xs, ys) = (numbers(&svg, "<text ", "x"), numbers(&svg, "<text ", "y"));
        assert!(xs.iter().all(|x| (0.0..units).contains(x)));
        assert!(ys.iter().all(|y| (0.0..units * f64::from(height) / f64::from(width)).contains(y)));
        for i in 2..=30 {
            let begin = format!("{i} ");
            // Once over its panel, once in its row.
            let named = texts(&svg)
                .iter()
                .filter(|t| t.starts_with(&begin) && t.ends_with(&format!(" {}", i - 1)))
                .count();
            assert_eq!(named, 2, "{i}");
        }
    }
}

#[test]
fn every_number_of_the_table_is_that_of_its_pair() {
    let n = 6;
    let findings = findings(n);
    let many = Many::new(&findings, "drum", &all_pairs(n)).expect("a picture");
    let svg = svg_of_many(&many, &Still::SCREEN).expect("room");
    let shown = texts(&svg);
    let from = shown.iter().position(|t| *t == "–").expect("the first of the diagonal");
    let cells = &shown[from..from + n * n];
    for i in 0..n {
        for j in 0..n {
            let (a, b) = (i.min(j), i.max(j));
            let d =
                if a == 0 && b > 0 { findings.comparisons[b - 1].distance() } else { between(a, b).distance };
            let wanted = match i.cmp(&j) {
                std::cmp::Ordering::Less => words::number(d.mean_db),
                std::cmp::Ordering::Greater => words::number(d.at_least_db),
                std::cmp::Ordering::Equal => "–".into(),
            };
            assert_eq!(cells[i * n + j], wanted, "{i} {j}");
        }
    }
    // The order in which a pair is named is no matter.
    let turned: Vec<PairDistance> =
        all_pairs(n).into_iter().map(|d| PairDistance { first: d.second, second: d.first, ..d }).collect();
    assert_eq!(Many::new(&findings, "drum", &turned), Some(many));
}

#[test]
fn what_is_not_known_is_not_drawn_as_known() {
    let n = 4;
    let none = Many::new(&findings(n), "drum", &[]).expect("a picture");
    let svg = svg_of_many(&none, &Still::SCREEN).expect("room");
    assert!(!svg.contains("above the diagonal"), "no table without pairs");
    let some = Many::new(&findings(n), "drum", &[between(1, 2)]).expect("a picture");
    let svg = svg_of_many(&some, &Still::SCREEN).expect("room");
    // Two pairs of microphones 2 to 4 are not known: four cells.
    assert_eq!(texts(&svg).iter().filter(|t| **t == "?").count(), 4);
    assert!(Many::new(&findings(2), "drum", &[]).is_none(), "two have a picture of their own");
    assert!(Many::new(&findings(4), "voice", &[]).is_none());
}

#[test]
fn where_they_cannot_be_read_it_is_said() {
    let many = Many::new(&findings(30), "drum", &all_pairs(30)).expect("a picture");
    let still = Still { width: 1080, height: 1080, letters: Letters::Large, ..Still::SCREEN };
    let refused = svg_of_many(&many, &still).expect_err("too many for large letters");
    assert_eq!(refused, FigureError::TooMany { n_mics: 30, asked: (1080, 1080) });
    assert!(refused.to_string().contains("30 microphones in one picture cannot be read at 1080 by 1080 px"));
    assert_eq!(png_of_many(&many, &still).expect_err("the same"), refused);
}

#[test]
fn themes_grounds_and_strange_letters_are_as_in_other_pictures() {
    let mut findings = findings(4);
    findings.mics[2].name = "Heron 鷺".into();
    let many = Many::new(&findings, "drum", &all_pairs(4)).expect("a picture");
    let mut corners = Vec::new();
    for theme in Theme::ALL {
        let still = Still { width: 960, height: 540, theme, ..Still::SCREEN };
        let picture = png_of_many(&many, &still).expect("a picture");
        assert_eq!(picture.replaced, ['鷺']);
        let (width, height, pixels) = read(&picture.bytes);
        assert_eq!((width, height), (960, 540));
        let drawn = pixels.iter().filter(|p| **p != pixels[0]).count() as f64 / pixels.len() as f64;
        assert!((0.02..0.9).contains(&drawn), "{drawn}");
        corners.push(pixels[0]);
    }
    assert!(corners[0] != corners[1] && corners[1] != corners[2]);
    let clear = Still { width: 960, height: 540, transparent: true, ..Still::SCREEN };
    let (_, _, pixels) = read(&png_of_many(&many, &clear).expect("a picture").bytes);
    assert!(pixels.iter().any(|p| p[3] == 0) && pixels.iter().any(|p| p[3] == 255));
    let svg = svg_of_many(&many, &clear).expect("a picture");
    assert!(svg.contains("Boathouse &lt;&amp;&gt; ") && !svg.contains('\u{7}'));
    assert!(svg.contains("Heron 鷺"), "a viewer has fonts of its own");
}

#[test]
fn the_table_of_distances_has_a_row_for_each_pair() {
    let all = all_pairs(4);
    let csv = data::distances(&all);
    let rows: Vec<&str> = csv.lines().collect();
    assert_eq!(rows.len(), 1 + all.len());
    assert_eq!(rows[0].split(',').count(), 8);
    assert_eq!(rows[1], "drum,m1,m2,6.2,0.2,1,2,3");
}
