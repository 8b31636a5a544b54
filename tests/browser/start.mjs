// Starts the program on a library of its own, and a headless Chromium beside it; ends both, by their handles. `options`
// are further ones of the server; `prepare` is run before it starts, with `input` for the standard input of commands.
import { spawn, execFileSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

export async function start(program, options = [], prepare = () => {}, input = "") {
  const folder = mkdtempSync(join(tmpdir(), "biot-browser-"));
  const environment = { ...process.env, BIOT_LIBRARY: join(folder, "library.biot"), BIOT_USER: "B. Second" };
  const biot = (...words) => execFileSync(program, words, { env: environment, encoding: "utf8", input });
  biot("info", "--json");
  prepare(biot);
  const server = spawn(program, ["serve", "--listen", "127.0.0.1:0", "--rate", "0", ...options], { env: environment });
  const [address, starting] = await new Promise((told, failed) => {
    let out = "", err = "";
    const look = () => {
      const listening = out.match(/listening on (\S+)/), first = err.match(/(http\S+start\S+)/);
      // With accounts there is no address to start from.
      if (listening && (first || options.includes("--accounts"))) told([listening[1], first?.[1]]);
    };
    server.stdout.on("data", (text) => { out += text; look(); });
    server.stderr.on("data", (text) => { err += text; look(); });
    server.on("error", failed);
    server.on("exit", (code) => failed(new Error(`the server ended with ${code}: ${err}`)));
  });
  let browser;
  const end = async () => {
    await browser?.close().catch(() => {});
    server.removeAllListeners("exit");
    if (server.exitCode === null) {
      const ended = new Promise((done) => server.once("exit", done));
      server.kill("SIGTERM");
      const hard = setTimeout(() => server.kill("SIGKILL"), 8000);
      await ended;
      clearTimeout(hard);
    }
    rmSync(folder, { recursive: true, force: true });
  };
  try {
    browser = await chromium.launch({
      executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
      args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync"],
    });
  } catch (error) {
    await end();
    throw error;
  }
  return { address, starting, browser, biot, end };
}

// An invented instrument with an invented quartz plate and checks over three months; the last one strays.
export function instrument(biot) {
  const quiet = ["--json", "--quiet"];
  biot("register", "instrument", "north (demo)", "--line", "D", "--line", "546", "--angle-uncertainty", "0.002",
    "--resolution", "0.001", "--check-every", "30", "--note", "invented, for demonstration", ...quiet);
  biot("register", "cell", "long 1 (demo)", "--length", "100.02 mm", "--length-uncertainty", "0.01 mm", "--windows", "glass",
    "--seals", "PTFE", ...quiet);
  biot("register", "standard", "plate 17 (demo)", "--kind", "quartz-plate", "--value", "34.612", "--expanded-uncertainty",
    "0.004", "--temp", "20", "--line", "D", ...quiet);
  const off = [1, -1, 0, 2, -1, 1, 0, -2, 1, 0, 1, -1, 2, 0, -1, 1, 0, 1, -1, 0, 1, 0, 2, 1, 7];
  off.forEach((millidegrees, at) => {
    const when = new Date(Date.UTC(2026, 7, 3 + 3 * at, 8, 30)).toISOString().replace(".000", "");
    const angle = (34.612 + millidegrees / 1000).toFixed(3);
    try {
      biot("control", "check", "north (demo)", "plate 17 (demo)", "--reading", angle, "--reading", angle, "--blank", "0.000",
        "--temp", "20.0", "--at", when, "--by", at % 2 ? "A. Keeper" : "B. Second", ...quiet);
    } catch (error) {
      // A check that breaks a rule is an answer with findings.
      if (error.status !== 5) throw error;
    }
  });
}

// Invented readings: a blank and ten readings of a sample that settles.
export const readings = ["role,angle_deg,time_s,temperature_c", "blank,0.002,,20.0", "blank,0.003,,20.0", "blank,0.002,,20.1"]
  .concat(Array.from({ length: 10 }, (_, at) =>
    `sample,${(-0.842 + 0.02 * Math.exp(-at / 3) + [1, -1, 0, 1, -1][at % 5] / 2000).toFixed(4)},${60 * at},20.${at % 3}`))
  .join("\n");
