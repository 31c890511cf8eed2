//! The corridor that moves: its frames read back, what they light and whom they name.

mod made;

use fairtake_report::figure::{FigureError, Heard, MOST_FRAMES, Moving, State, Still};
use made::{corridor, drum as findings, read, stills};

/// All segments as bright.
fn states(n: usize, bright: f32) -> Vec<State> {
    vec![
        State { at_s: 0.1, heard: Some(Heard::Reference), brightness: vec![bright; n] },
        State { at_s: 0.2, heard: Some(Heard::Against), brightness: vec![0.0; n] },
    ]
}

#[test]
fn a_moving_picture_lights_its_segments_and_names_who_is_heard() {
    let corridor = corridor(&findings());
    let n = corridor.segments.len();
    let still = stills()[0];
    let moving = Moving::new(&corridor, &still, states(n, 1.0), 0.35, 10.0).expect("a moving picture");
    assert_eq!((moving.n_frames(), moving.size()), (4, (960, 540)));
    let files: Vec<Vec<u8>> = moving.frames().collect::<Result<_, _>>().expect("frames");
    assert_eq!(files.len(), 4);
    let total: usize = files.iter().map(Vec::len).sum();
    assert!((0.5..2.0).contains(&(total as f64 / moving.about_bytes() as f64)));
    let frames: Vec<_> = files.iter().map(|f| read(f).2).collect();
    let changed = |a: usize, b: usize, rows: std::ops::Range<usize>| {
        let range = rows.start * 960..rows.end * 960;
        frames[a][range.clone()].iter().zip(&frames[b][range]).filter(|(x, y)| x != y).count()
    };
    // At rest; the reference heard and all lit; the other heard and at rest; and so on.
    assert!(changed(0, 1, 0..150) > 100 && changed(0, 1, 400..500) > 10_000);
    assert!(changed(0, 2, 0..150) > 100 && changed(0, 2, 400..500) == 0);
    assert!(changed(1, 2, 0..150) > 100);
    assert_eq!(files[2], files[3], "what has not changed is the same file");
}

#[test]
fn half_a_light_lies_between_rest_and_light() {
    let corridor = corridor(&findings());
    let n = corridor.segments.len();
    let frame = |bright| {
        let state = State { at_s: 0.0, heard: None, brightness: vec![bright; n] };
        let moving = Moving::new(&corridor, &stills()[0], vec![state], 0.04, 25.0).expect("a moving picture");
        read(&moving.frames().next().expect("a frame").expect("a file")).2
    };
    let [rest, half, lit] = [0.0, 0.5, 1.0].map(frame);
    for ((r, h), l) in rest.iter().zip(&half).zip(&lit) {
        for channel in 0..3 {
            let middle = (i32::from(r[channel]) + i32::from(l[channel])) / 2;
            assert!((i32::from(h[channel]) - middle).abs() <= 1);
        }
    }
    assert_ne!(rest, lit);
}

#[test]
fn moving_pictures_that_cannot_be_are_refused() {
    let corridor = corridor(&findings());
    let n = corridor.segments.len();
    let still = stills()[0];
    let with = |states, length_s, rate| Moving::new(&corridor, &still, states, length_s, rate).err();
    let good = || states(n, 1.0);
    assert_eq!(with(good(), 1.0, 61.0), Some(FigureError::Rate { asked: 61.0 }));
    assert!(matches!(with(good(), f64::NAN, 25.0), Some(FigureError::Length { .. })));
    assert!(matches!(with(good(), 0.0, 25.0), Some(FigureError::Length { .. })));
    let most_s = f64::from(MOST_FRAMES) / 30.0;
    assert_eq!(with(good(), 601.0, 30.0), Some(FigureError::Length { asked_s: 601.0, most_s }));
    assert_eq!(
        with(states(n + 1, 1.0), 1.0, 25.0),
        Some(FigureError::Segments { state: 0, given: n + 1, expected: n })
    );
    assert_eq!(with(states(n, 1.5), 1.0, 25.0), Some(FigureError::Brightness { state: 0, given: 1.5 }));
    let mut late = good();
    late[1].at_s = 0.0;
    assert_eq!(with(late, 1.0, 25.0), Some(FigureError::Order { state: 1 }));
    let huge = Still { width: 8000, height: 4000, ..still };
    let refused = Moving::new(&corridor, &huge, good(), 1.0, 25.0).err();
    assert_eq!(refused, Some(FigureError::TooLarge { asked: (8000, 4000), most: (3840, 2160) }));
}

#[test]
fn light_on_a_clear_ground_keeps_its_colour_while_it_fades() {
    let corridor = corridor(&findings());
    let n = corridor.segments.len();
    let still = Still { transparent: true, ..stills()[0] };
    let state = |bright| vec![State { at_s: 0.0, heard: None, brightness: vec![bright; n] }];
    let frame = |bright| {
        let moving = Moving::new(&corridor, &still, state(bright), 0.04, 25.0).expect("a moving picture");
        read(&moving.frames().next().expect("a frame").expect("a file")).2
    };
    let [rest, half, lit] = [0.0, 0.5, 1.0].map(frame);
    let appears: Vec<_> =
        rest.iter().zip(&half).zip(&lit).filter(|((r, _), l)| r[3] == 0 && l[3] == 255).collect();
    assert!(appears.len() > 1000);
    for ((_, h), l) in appears {
        assert!((i32::from(h[3]) - 128).abs() <= 1);
        assert!((0..3).all(|c| (i32::from(h[c]) - i32::from(l[c])).abs() <= 2), "{h:?} of {l:?}");
    }
}
