//! How the server answers many clients at once: requests per second, latencies and memory, on loopback.
//!
//! `cargo bench --bench load [-- ENTRIES [REQUESTS [CLIENTS]]]` makes an invented library of that many entries, starts
//! `biot serve` on it and asks it, by that many clients that each keep one connection, for searches by name and for checks;
//! each kind in so many requests. Without arguments 2000 entries, 200 requests and 4 clients, a smoke test of seconds;
//! `100000 20000 8` is what the README quotes. Any answer but 200 fails the bench.

#[allow(dead_code, reason = "shared with another bench, which uses all of it")]
mod synthetic;

use biot::library::{Change, Library};
use std::error::Error;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use synthetic::Synthetic;

type Outcome<T = ()> = Result<T, Box<dyn Error + Send + Sync>>;

/// Where the randomness of the library starts.
const SEED: u64 = 1815;
/// How long one answer may take before the bench gives up.
const PATIENCE: Duration = Duration::from_secs(20);

/// A server that is ended with the bench.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn main() -> Outcome {
    let numbers: Vec<u64> = std::env::args().filter_map(|word| word.parse().ok()).collect();
    let number = |at: usize, otherwise: u64| numbers.get(at).copied().unwrap_or(otherwise);
    let (n_entries, n_requests, n_clients) = (number(0, 2000), number(1, 200), number(2, 4).clamp(1, 64));
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let file = folder.path().join("library.biot");
    let synthetic = Synthetic { n_entries, seed: SEED };
    let mut library = Library::create(&file, &Change::now("bench", "load"))?;
    let n_compounds = synthetic.load_into(&mut library)?.compounds;
    drop(library);
    let cores = std::thread::available_parallelism().map_or(0, std::num::NonZero::get);
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    say(&format!(
        "machine: {cores} cores, load average before the start {}",
        load.split(' ').next().unwrap_or_default()
    ))?;
    say(&format!(
        "inputs: seed {SEED}, {n_entries} entries of {n_compounds} compounds, {n_requests} requests of each kind by {n_clients} \
         clients"
    ))?;

    let mut server = Server(
        Command::new(env!("CARGO_BIN_EXE_biot"))
            .args(["serve", "--listen", "127.0.0.1:0", "--rate", "0", "--library"])
            .arg(&file)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()?,
    );
    let mut out = BufReader::new(server.0.stdout.take().ok_or("the server has no output")?);
    let mut first = String::new();
    out.read_line(&mut first)?;
    let address = first
        .trim()
        .strip_prefix("listening on http://")
        .ok_or_else(|| format!("the server said {first:?}"))?
        .to_owned();

    let search = |at: u64| {
        let name = synthetic.compound(at % n_compounds).trivial;
        format!(
            "GET /api/search?q={} HTTP/1.1\r\nHost: {address}\r\n\r\n",
            encoded(&name)
        )
    };
    let check = |at: u64| {
        let key = synthetic
            .compound(at % n_compounds)
            .compound
            .inchikey
            .unwrap_or_default();
        let body = format!(
            "{{\"compound\":\"{key}\",\"value\":\"-{}.{}\",\"solvent\":\"EtOH\",\"conc\":\"1\",\"temp\":\"20\",\"line\":\"D\"}}",
            at % 90,
            at % 10
        );
        format!(
            "POST /api/check HTTP/1.1\r\nHost: {address}\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
    };
    // The first questions open the library and read its index.
    ask(&address, n_clients, n_clients * 2, &search)?;
    ask(&address, n_clients, n_clients * 2, &check)?;
    let idle = Memory::of(server.0.id());
    report("search", &ask(&address, n_clients, n_requests, &search)?)?;
    report("check", &ask(&address, n_clients, n_requests, &check)?)?;
    let after = Memory::of(server.0.id());
    say(&format!(
        "memory: resident {} MiB after the first questions ({} its own), {} MiB after all ({} its own), peak {} MiB",
        idle.resident, idle.own, after.resident, after.own, after.peak
    ))
}

/// Times of all requests, and of the whole.
struct Asked {
    times: Vec<Duration>,
    whole: Duration,
}

/// Asks `n_requests` questions by `n_clients` clients, each on one connection, one after the other.
fn ask(address: &str, n_clients: u64, n_requests: u64, request: &(dyn Fn(u64) -> String + Sync)) -> Outcome<Asked> {
    let start = Instant::now();
    let times = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..n_clients)
            .map(|client| {
                scope.spawn(move || {
                    let stream = TcpStream::connect(address)?;
                    stream.set_read_timeout(Some(PATIENCE))?;
                    stream.set_nodelay(true)?;
                    let mut reader = BufReader::new(stream.try_clone()?);
                    let mut stream = stream;
                    let mut times = Vec::new();
                    // Strides that share no factor with usual sizes spread the questions over the library.
                    for at in (client..n_requests).step_by(n_clients as usize) {
                        let text = request(at * 7919 + client);
                        let start = Instant::now();
                        stream.write_all(text.as_bytes())?;
                        answer(&mut reader, &text)?;
                        times.push(start.elapsed());
                    }
                    Outcome::Ok(times)
                })
            })
            .collect();
        let mut all = Vec::new();
        for client in clients {
            all.extend(client.join().map_err(|_| "a client ended early")??);
        }
        Outcome::Ok(all)
    })?;
    Ok(Asked {
        times,
        whole: start.elapsed(),
    })
}

/// Reads one answer; any status but 200 is an error.
fn answer(reader: &mut impl BufRead, request: &str) -> Outcome {
    let mut status = String::new();
    reader.read_line(&mut status)?;
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line)?;
        let line = line.trim();
        if line.is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("content-length")
        {
            length = value.trim().parse()?;
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body)?;
    if status.split(' ').nth(1) != Some("200") {
        return Err(format!("{request}\n{status}{}", String::from_utf8_lossy(&body)).into());
    }
    Ok(())
}

fn report(what: &str, asked: &Asked) -> Outcome {
    let mut times = asked.times.clone();
    times.sort();
    let quantile = |share: f64| {
        let last = times.len().saturating_sub(1);
        times
            .get((share * last as f64).round() as usize)
            .copied()
            .unwrap_or_default()
            .as_secs_f64()
            * 1e3
    };
    say(&format!(
        "{what}: {:.0} requests/s; p50 {:.2} ms, p99 {:.2} ms, slowest {:.2} ms",
        times.len() as f64 / asked.whole.as_secs_f64(),
        quantile(0.5),
        quantile(0.99),
        quantile(1.0)
    ))
}

/// Memory of a process, MiB; 0 where the system does not tell.
struct Memory {
    resident: u64,
    /// What of it is its own; the rest are pages of files, which the system takes back when it needs the room.
    own: u64,
    peak: u64,
}

impl Memory {
    fn of(process: u32) -> Self {
        let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
        let figure = |name: &str| {
            let kib = status
                .lines()
                .find_map(|line| line.strip_prefix(name)?.split_whitespace().next()?.parse().ok());
            kib.unwrap_or(0_u64) >> 10
        };
        Self {
            resident: figure("VmRSS:"),
            own: figure("RssAnon:"),
            peak: figure("VmHWM:"),
        }
    }
}

const HEX: [char; 16] = [
    '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'A', 'B', 'C', 'D', 'E', 'F',
];

/// Text as it may stand in the query of an address.
fn encoded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut out, byte| {
        if byte.is_ascii_alphanumeric() {
            out.push(char::from(byte));
        } else {
            out.push('%');
            out.push(HEX[usize::from(byte >> 4)]);
            out.push(HEX[usize::from(byte & 15)]);
        }
        out
    })
}

fn say(text: &str) -> Outcome {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}
