// Drives a headless Chromium over the pages of a running release build: the main path of each page, an accessibility
// check of each in light and dark and at phone width, and, when a folder is named, screenshots.
//
// Usage: node pages.mjs PROGRAM [FOLDER FOR SCREENSHOTS]
import { spawn, execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, mkdirSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import assert from "node:assert/strict";
import { chromium } from "playwright-core";

const [program, shots] = process.argv.slice(2);
if (!program) {
  console.error("usage: node pages.mjs PROGRAM [FOLDER FOR SCREENSHOTS]");
  process.exit(2);
}
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const folder = mkdtempSync(join(tmpdir(), "biot-browser-"));
const environment = { ...process.env, BIOT_LIBRARY: join(folder, "library.biot"), BIOT_USER: "B. Second" };
const biot = (...words) => execFileSync(program, words, { env: environment, encoding: "utf8" });
if (shots) mkdirSync(shots, { recursive: true });

// Invented values of an invented compound, beside the starter library.
const added = JSON.parse(
  biot("add", "(R)-invented acid", "--new-compound", "--text", "[α]D20 −61.2 (c 1.0, EtOH)", "--citation",
    "Invented J. Chem. 1 (2020) 12", "--by", "A. First", "--json", "--quiet"),
);
const draft = added.entry.entry;

const server = spawn(program, ["serve", "--listen", "127.0.0.1:0", "--rate", "0"], { env: environment });
const [address, start] = await new Promise((told, failed) => {
  let out = "", err = "";
  const look = () => {
    const listening = out.match(/listening on (\S+)/), starting = err.match(/(http\S+start\S+)/);
    if (listening && starting) told([listening[1], starting[1]]);
  };
  server.stdout.on("data", (text) => { out += text; look(); });
  server.stderr.on("data", (text) => { err += text; look(); });
  server.on("exit", (code) => failed(new Error(`the server ended with ${code}: ${err}`)));
});

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
let checked = 0;
try {
  const context = await browser.newContext({ bypassCSP: true, viewport: { width: 1200, height: 900 } });
  const page = await context.newPage();
  const problems = [];
  page.on("pageerror", (error) => problems.push(String(error)));
  page.on("request", (request) => {
    if (!request.url().startsWith(address)) problems.push(`asked for ${request.url()}`);
  });

  // Accessibility and looks of the page that is open.
  const look = async (name) => {
    for (const [scheme, width] of [["light", 1200], ["dark", 1200], ["light", 390]]) {
      await page.emulateMedia({ colorScheme: scheme });
      await page.setViewportSize({ width, height: 900 });
      await page.evaluate(axe);
      const { violations } = await page.evaluate(() => axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"] }));
      const serious = violations.filter((one) => ["serious", "critical"].includes(one.impact));
      assert.deepEqual(serious.map((one) => `${one.id}: ${one.nodes[0].html} ${one.nodes[0].failureSummary}`), [], `${name}, ${scheme}, ${width}`);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      assert.ok(wide <= 1, `${name} scrolls sideways by ${wide} at ${width}`);
      if (shots) await page.screenshot({ path: join(shots, `${name}-${scheme}-${width}.png`), fullPage: true });
      checked += 1;
    }
    await page.emulateMedia({ colorScheme: "light" });
    await page.setViewportSize({ width: 1200, height: 900 });
  };

  await page.goto(start);
  assert.equal(new URL(page.url()).pathname, "/");
  await look("home");

  // The keyboard reaches the content first.
  await page.goto(`${address}/check`);
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement.className), "skip");

  await page.goto(address);
  await page.getByLabel("Name, CAS number").fill("menthol");
  await page.keyboard.press("Enter");
  await page.getByRole("table").waitFor();
  await look("search");
  await page.goto(`${address}/?q=${encodeURIComponent("L-proline")}`);
  await page.locator("tbody a").first().click();
  assert.ok((await page.locator("h1").innerText()).length > 0);
  assert.ok((await page.locator("svg.plot").count()) >= 1, "a compound with values has a plot");
  await look("compound");

  await page.getByRole("link", { name: "Check a value of this compound" }).click();
  await look("check");
  await page.getByLabel("Specific rotation").fill("-84.1");
  await page.getByLabel("Concentration, g/100 mL").fill("1");
  await page.getByLabel("Solvent, or neat").fill("H2O");
  await page.getByLabel("Temperature, °C").fill("25");
  await page.getByLabel("Light: D or nm").fill("D");
  await page.getByRole("button", { name: "Check" }).click();
  await page.locator(".verdict .sentence").waitFor();
  const result = page.url();
  const sentence = await page.locator(".verdict .sentence").innerText();
  assert.match(await page.getByLabel("Journal line").inputValue(), /−84\.1/);
  assert.ok((await page.locator("svg.plot .bar").count()) >= 3);
  await look("result");
  await page.goto(address);
  await page.goto(result);
  assert.equal(await page.locator(".verdict .sentence").innerText(), sentence, "the result has an address of its own");
  await page.goto(result.replace("-84.1", "42"));
  await look("result-other");

  await page.goto(`${address}/check?compound=menthol&value=-49`);
  await page.getByRole("alert").waitFor();
  await look("ambiguous");
  await page.locator(".candidates a").first().click();
  await page.locator(".verdict .sentence").waitFor();

  await page.goto(`${address}/read`);
  await page.getByLabel("Paste a paragraph").fill(
    "The invented acid was obtained as an oil (1.2 g, 86 %); [α]D25 −41.8 (c 1.04, CHCl3), lit. [α]D20 −43.0 (c 1, CHCl3).",
  );
  await page.getByRole("button", { name: "Find rotations" }).click();
  assert.equal(await page.locator("mark").count(), 2);
  await page.locator(".found summary").first().click();
  await look("read");
  const found = page.locator(".found").first();
  await found.getByLabel("Compound: name").fill("(R)-invented acid");
  await found.getByLabel("Citation of the source").fill("Invented J. Chem. 2 (2021) 3");
  await found.getByLabel("Keyed by").fill("C. Third");
  await found.getByRole("button", { name: "Store as a draft" }).click();
  await page.getByText("is stored as a draft").waitFor();
  await look("stored");

  await page.goto(`${address}/review`);
  await look("review");
  await page.goto(`${address}/review/${draft}`);
  assert.ok(!(await page.content()).includes("61.2"), "the first keying is not shown");
  await look("key");
  await page.getByLabel("What is printed there").fill("[α]D20 +61.2 (c 1.0, EtOH)");
  await page.getByLabel("Keyed by").fill("B. Second");
  await page.getByRole("button", { name: "Compare" }).click();
  await page.getByText("The keyings differ").waitFor();
  await look("keyings-differ");

  await page.goto(`${address}/entries/${draft}`);
  await look("entry");
  await page.getByLabel("Cell length").fill("100 mm");
  await page.getByLabel("Why").fill("printed beside the value");
  await page.getByRole("button", { name: "Store the change" }).click();
  await page.getByText("printed beside the value").first().waitFor();

  await page.goto(`${address}/audit`);
  await look("audit");
  await page.goto(`${address}/nowhere`);
  await look("nowhere");
  assert.deepEqual(problems, []);
  console.log(`${checked} looks at pages: no serious finding of the accessibility checker, nothing asked from outside.`);
} finally {
  await browser.close();
  server.removeAllListeners("exit");
  server.kill("SIGTERM");
  rmSync(folder, { recursive: true, force: true });
}
