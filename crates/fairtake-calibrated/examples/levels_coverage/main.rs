//! How often the intervals of sensitivity, noise, pairs, direction and proximity hold the truth that was made:
//! `levels_coverage [N] [PART]`, N measurements a row (2,000), PART one of `level`, `pairs`, `direction`, `proximity`.

mod direction;
mod level;
mod pairs;
mod proximity;
mod table;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let n: u64 = arguments.iter().find_map(|a| a.parse().ok()).unwrap_or(2000);
    let wants = |part: &str| {
        !arguments.iter().any(|a| a.parse::<u64>().is_err()) || arguments.iter().any(|a| a == part)
    };
    let mut rows = Vec::new();
    if wants("level") {
        rows.extend(level::rows(n));
    }
    if wants("pairs") {
        rows.extend(pairs::rows(n));
    }
    if wants("direction") {
        rows.extend(direction::rows(n));
    }
    if wants("proximity") {
        rows.extend(proximity::rows(n));
    }
    print!("{}", table::table(&rows));
}
