//! The floor under a comparison's time: reading the files and the transforms that it needs, on two threads. Prints the seconds.
//!
//! `floor 32768x90,65536x3 A.wav B.wav`: 90 transforms of 32768 values and 3 of 65536, in all. Used by `outside/bench.py`.

use fairtake_transform::forward_single;
use std::fs::File;
use std::hint::black_box;
use std::io::Read;
use std::thread;
use std::time::Instant;

fn read(path: &str) -> std::io::Result<usize> {
    let mut file = File::open(path)?;
    let mut buffer = vec![0u8; 1 << 18];
    let mut n = 0;
    loop {
        match file.read(black_box(&mut buffer))? {
            0 => return Ok(n),
            more => n += more,
        }
    }
}

fn transform(length: usize, times: usize) {
    let plan = forward_single(length);
    let (mut values, mut out) = (plan.make_input_vec(), plan.make_output_vec());
    let mut scratch = plan.make_scratch_vec();
    // Not silence: sums of zeros may be quicker.
    let source: Vec<f32> = (0..length).map(|i| (i * 7919 % 1009) as f32 / 1009.0 - 0.5).collect();
    for _ in 0..times {
        values.copy_from_slice(&source);
        let done = plan.process_with_scratch(&mut values, &mut out, &mut scratch);
        assert!(done.is_ok(), "lengths are those of the plan");
        black_box(&out);
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [lengths, files @ ..] = args.as_slice() else {
        return Err("usage: floor LENGTHxNUMBER,… FILE…".into());
    };
    let mut jobs: Vec<(usize, usize)> = Vec::new();
    for job in lengths.split(',') {
        let (length, number) = job.split_once('x').ok_or("LENGTHxNUMBER is wanted")?;
        jobs.push((length.parse()?, number.parse()?));
    }
    let start = Instant::now();
    let outcomes: Vec<std::io::Result<()>> = thread::scope(|scope| {
        let workers: Vec<_> = (0..2)
            .map(|worker| {
                let jobs = &jobs;
                scope.spawn(move || {
                    files.iter().skip(worker).step_by(2).try_for_each(|file| read(file).map(drop))?;
                    jobs.iter().for_each(|(length, number)| transform(*length, (number + worker) / 2));
                    Ok(())
                })
            })
            .collect();
        workers.into_iter().map(|w| w.join().expect("reading and transforming do not panic")).collect()
    });
    outcomes.into_iter().collect::<std::io::Result<()>>()?;
    println!("{}", start.elapsed().as_secs_f64());
    Ok(())
}
