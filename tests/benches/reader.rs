//! Speed of the reader on seeded synthetic prose, beside a line filter over the same bytes.
//!
//! `cargo bench --bench reader [-- MEGABYTES]` (10 unless told). The filter is the regular expression
//! `\[α\]|\[a\]D|rotation` over each line. Prints bytes, seconds and the ratio; asserts nothing.

use std::fmt::Write as _;
use std::hint::black_box;
use std::time::Instant;

/// A small generator of the text, so that the bench needs no data.
struct Generator(u64);

impl Generator {
    fn next(&mut self, below: u64) -> u64 {
        // Knuth's multiplier of MMIX; the high bits are used.
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (self.0 >> 33) % below
    }
}

/// Prose of about `bytes` bytes in which one sentence of `one_in` states a rotation.
fn prose(bytes: usize, one_in: u64) -> String {
    let sentences = [
        "The residue was purified by chromatography on silica gel (hexane/EtOAc 3:1) to give the product as an oil. ",
        "1H NMR (400 MHz, CDCl3) δ 7.36–7.28 (m, 5H), 4.52 (s, 2H), 3.61 (t, J = 6.4 Hz, 2H), 1.72 (m, 4H). ",
        "HRMS (ESI) m/z calcd for C12H15O4 [M + H]+ 223.0965, found 223.0970; IR (film) 2950, 1740 cm−1. ",
        "To a stirred solution of the alcohol (1.25 g, 5.0 mmol) in CH2Cl2 (20 mL) at −78 °C was added the acid chloride. ",
        "The mixture was warmed to room temperature, quenched with water and extracted with diethyl ether (3 × 20 mL). ",
        "After rotary evaporation α-D-glucopyranose was recrystallised from methanol, mp 146–148 °C.\n",
    ];
    let mut generator = Generator(17);
    let mut text = String::with_capacity(bytes + 200);
    while text.len() < bytes {
        if generator.next(one_in) == 0 {
            let (t, a, b, c) = (
                18 + generator.next(8),
                generator.next(200),
                generator.next(10),
                generator.next(20) + 1,
            );
            let _ = write!(text, "[α]D{t} −{a}.{b} (c {c}.0, CHCl3). ");
        } else {
            text.push_str(sentences[generator.next(6) as usize]);
        }
    }
    text
}

fn seconds(mut work: impl FnMut()) -> f64 {
    (0..5)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn main() {
    let mut out = String::new();
    let megabytes: usize = std::env::args()
        .skip(1)
        .find_map(|word| word.parse().ok())
        .unwrap_or(10);
    let Ok(pattern) = regex::Regex::new(r"\[α\]|\[a\]D|rotation") else {
        return;
    };
    for one_in in [20, 100, 1_000_000] {
        let text = prose(megabytes * 1_000_000, one_in);
        let found = biot::notation::read(&text).len();
        let read = seconds(|| {
            black_box(biot::notation::read(black_box(&text)).len());
        });
        let filter = seconds(|| {
            black_box(text.lines().filter(|line| pattern.is_match(line)).count());
        });
        let megabytes = text.len() as f64 / 1e6;
        let _ = writeln!(
            out,
            "one sentence in {one_in}: {megabytes:.1} MB, {found} statements, {read:.3} s ({:.1} MB/s), line filter {filter:.4} s, \
             ratio {:.1}",
            megabytes / read,
            read / filter
        );
    }
    let _ = std::io::Write::write_all(&mut std::io::stdout(), out.as_bytes());
}
