//! What a WAVE file tells besides its samples: the input is the bodies of `bext`, `iXML`, `cue ` and `LIST` in turn,
//! so that the fuzzer need not find a header that holds together.
#![no_main]

libfuzzer_sys::fuzz_target!(|bodies: (u8, Vec<u8>, Vec<u8>)| {
    let (order, first, second) = bodies;
    let ids = [b"bext", b"iXML", b"cue ", b"LIST"];
    let mut file = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x02\0\x80\xbb\0\0\0\xee\x02\0\x04\0\x10\0".to_vec();
    for (id, body) in [(order & 3, &first), (order >> 2 & 3, &second)] {
        file.extend(ids[usize::from(id)]);
        file.extend((body.len() as u32).to_le_bytes());
        file.extend(body);
        file.resize(file.len() + body.len() % 2, 0);
    }
    file.extend(b"data\x10\0\0\0");
    file.extend([1; 16]);
    let layout = fairtake_files::wav::read_layout(file.as_slice()).expect("the rest of the file is sound");
    assert!(layout.frames == 4 && layout.n_channels == 2);
    let told = &layout.metadata;
    assert!(told.cue_markers.is_sorted_by_key(|m| (m.frame, m.id)));
    assert_eq!(fairtake_files::channel_names(told, 2).len(), 2);
    for part in fairtake_files::cut_at_markers(told, layout.frames) {
        assert!(part.start_frame < part.end_frame && part.end_frame <= layout.frames);
        assert!(!part.name.is_empty() && !fairtake_files::key_of(&part.name).contains('/'));
    }
});
