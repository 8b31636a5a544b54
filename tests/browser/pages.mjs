// Drives a headless Chromium over the pages of a running program: the main path of each page, an accessibility check of
// each in light and dark and at phone width, and, when a folder is named, screenshots.
//
// Usage: node pages.mjs PROGRAM [FOLDER FOR SCREENSHOTS]
// The whole takes at most LIMIT seconds (environment, 240): then it ends, and with it what it started.
import { readFileSync } from "node:fs";
import assert from "node:assert/strict";
import { looker } from "./look.mjs";
import { start, instrument, readings } from "./start.mjs";

const [program, shots] = process.argv.slice(2);
if (!program) {
  console.error("usage: node pages.mjs PROGRAM [FOLDER FOR SCREENSHOTS]");
  process.exit(2);
}

const limit = Number(process.env.LIMIT ?? 240) * 1000;
const { address, starting, browser, biot, end } = await start(program);
const late = setTimeout(async () => {
  console.error(`not done after ${limit / 1000} s`);
  await end();
  process.exit(1);
}, limit);

// Invented values of an invented compound and an invented instrument, beside the starter library.
const added = JSON.parse(
  biot("add", "(R)-invented acid", "--new-compound", "--text", "[α]D20 −61.2 (c 1.0, EtOH)", "--citation",
    "Invented J. Chem. 1 (2020) 12", "--by", "A. First", "--json", "--quiet"),
);
const draft = added.entry.entry;
instrument(biot);
biot("check", "L-proline", "--value=-84.1", "--solvent", "H2O", "--conc", "1", "--temp", "25", "--line", "D",
  "--keep", "batch 7", "--by", "A. First", "--quiet");
// Invented rotations of one more invented compound, by a law of Drude with A 20 and a band at 210 nm, rounded.
let of;
for (const [nm, value] of [[589.3, 66.0], [578, 69.0], [546.1, 78.7], [435.8, 137.2], [365, 224.4]]) {
  const row = biot("add", "(S)-invented ester", "--new-compound", "--text", `[α]${nm} 20 +${value.toFixed(1)} (c 1.0, EtOH)`,
    "--citation", "Invented J. Chem. 3 (2022) 40", "--by", "A. First", "--json", "--quiet");
  of = JSON.parse(row).compound.compound;
}

try {
  const { page, look, problems, looks } = await looker(browser, shots);
  page.on("pageerror", (error) => problems.push(String(error)));
  page.on("request", (request) => {
    if (!request.url().startsWith(address)) problems.push(`asked for ${request.url()}`);
  });

  await page.goto(starting);
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
  await page.getByRole("link", { name: "page for print" }).click();
  assert.ok((await page.locator("svg.plot .bar").count()) >= 3, "the report has its drawing");
  await look("report");
  await page.goto(result);
  const [download] = await Promise.all([
    page.waitForEvent("download"),
    page.getByRole("link", { name: "PDF", exact: true }).click(),
  ]);
  assert.equal(download.suggestedFilename(), "report.pdf");
  assert.match(readFileSync(await download.path(), "latin1"), /^%PDF-1\.7/);
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

  // A compound with values at several lines has a curve; one without is told why it has none.
  await page.goto(`${address}/compounds/${of}`);
  await page.getByRole("link", { name: "Rotation against wavelength" }).click();
  assert.ok((await page.locator("svg.plot .curve").count()) === 1, "the law is drawn");
  assert.equal(await page.locator("svg.plot .dot").count(), 5);
  await page.getByText("D (589.3)").waitFor();
  await look("compound-dispersion");
  await page.goto(`${address}/?q=${encodeURIComponent("L-proline")}`);
  await page.locator("tbody a").first().click();
  await page.getByRole("link", { name: "Rotation against wavelength" }).click();
  await page.getByText("No source gives values").waitFor();
  await look("compound-no-dispersion");

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
  // Readings, typed and as a file, to a value that is kept, and on to a check.
  await page.goto(`${address}/reduce`);
  await look("reduce-form");
  const proline = async () => {
    await page.locator("#cell").fill("100");
    await page.locator("#conc").fill("1.00");
    await page.locator("#solvent").fill("H2O");
    await page.locator("#line").fill("D");
    await page.getByLabel("Compound it is").fill("L-proline");
  };
  await page.getByLabel("Readings: type or paste them").fill(readings);
  await proline();
  await page.getByLabel("Sample", { exact: true }).fill("demo 1");
  await page.getByRole("button", { name: "Reduce" }).click();
  await page.locator("h2.value").waitFor();
  assert.match(await page.getByLabel("Journal line").first().inputValue(), /\[α\]/);
  assert.equal(await page.locator("svg.plot").count(), 2, "the readings and their course are drawn");
  await look("reduce");
  await page.getByRole("button", { name: "Keep as a measurement" }).click();
  await page.waitForURL(/measurements\/\d+$/);
  await look("measurement");
  await page.getByRole("link", { name: "Check this measurement" }).click();
  await page.locator(".verdict .sentence").waitFor();
  await look("measurement-check");
  await page.goto(`${address}/measurements`);
  assert.equal(await page.locator("tbody tr").count(), 2, "a measurement and a kept check");
  await look("measurements");
  await page.goto(`${address}/reduce`);
  await page.getByLabel("or a file with such a table").setInputFiles({
    name: "lines (demo).csv", mimeType: "text/csv",
    buffer: Buffer.from("angle;wavelength\n-0.842;589\n-0.841;589\n-0.995;546\n-0.996;546\n-1.74;436\n-1.741;436\n"),
  });
  await proline();
  await page.getByRole("button", { name: "Reduce" }).click();
  await page.getByRole("heading", { name: "Dispersion" }).waitFor();
  await look("dispersion");
  await page.goto(`${address}/reduce`);
  await page.getByLabel("Readings: type or paste them").fill("-0.842");
  await page.getByRole("button", { name: "Reduce" }).click();
  assert.match(await page.getByRole("alert").innerText(), /cell length/);
  assert.ok(!(await page.getByRole("alert").innerText()).includes("--"), "pages name no options of the command line");

  await page.goto(`${address}/plan`);
  await look("plan-form");
  await page.getByLabel("Compound: name").fill("L-proline");
  await page.getByLabel("Cells, mm").fill("100; 50");
  await page.getByLabel("Sample there is, g").fill("0.025");
  await page.getByLabel("Volume it is made up to").fill("5");
  await page.getByRole("button", { name: "Plan" }).click();
  await page.locator(".verdict .sentence").waitFor();
  await look("plan");

  await page.goto(`${address}/limits`);
  await look("limits-form");
  const single = page.locator("form").first();
  await single.getByLabel("Compound: name").fill("dextrose");
  await single.getByLabel("Specific rotation").fill("52.93");
  await single.getByLabel("Solvent, or neat").fill("0.012 N ammonium hydroxide");
  await single.getByLabel("Concentration, g/100 mL").fill("10");
  await single.getByLabel("Temperature").fill("25");
  await single.getByLabel("Light").fill("D");
  await single.getByLabel("Basis of the value").fill("anhydrous");
  await single.getByLabel("Guard band").fill("95%");
  await single.locator("button").click();
  await page.locator(".verdict .sentence").first().waitFor();
  await look("limits");
  await page.goto(`${address}/limits`);
  const series = page.locator("form").nth(1);
  await series.getByLabel("Compound of the batches").fill("dextrose");
  await series.getByLabel("Light").fill("D");
  await series.getByLabel("Temperature").fill("25");
  await series.getByLabel("or its rows").fill(
    ["batch,date,value,uncertainty", ...[52.9, 52.8, 53.0, 52.7, 53.1, 53.6].map((v, at) => `demo ${at + 1},2026-0${at + 1}-10,${v},0.08`)].join("\n"),
  );
  await series.locator("button").click();
  await page.locator("svg.plot").first().waitFor();
  await look("limits-series");

  await page.goto(`${address}/batch`);
  await look("batch-form");
  const rows = "id,compound,value,solvent,conc,temp,line\nd1,L-proline,-84.1,H2O,1,25,D\nd2,L-menthol,+49,EtOH,5,20,D\nd3,nothing known,3,,,,\n";
  await page.getByLabel("or its rows, pasted").fill(rows);
  await page.getByRole("button", { name: "Check the table" }).click();
  await page.getByText("2 of 3 rows were checked").waitFor();
  await look("batch");
  for (const [label, ending] of [["all of them as CSV", "csv"], ["as XLSX", "xlsx"], ["as JSON Lines", "jsonl"]]) {
    await page.goto(`${address}/batch`);
    await page.getByLabel("File: choose it").setInputFiles({ name: "demo.csv", mimeType: "text/csv", buffer: Buffer.from(rows) });
    await page.getByLabel(label).check();
    const coming = page.waitForEvent("download");
    await page.getByRole("button", { name: "Check the table" }).click();
    const file = await coming;
    assert.equal(file.suggestedFilename(), `checked.${ending}`);
    assert.ok(readFileSync(await file.path()).length > 100);
  }

  await page.goto(`${address}/instruments`);
  await look("instruments");
  await page.getByRole("link", { name: "north (demo)", exact: true }).click();
  await page.locator("svg.plot").waitFor();
  await look("instrument");
  await page.getByLabel("Readings of the standard").fill("34.612\n34.613\n34.612");
  await page.getByLabel("Readings without it").fill("0.000");
  await page.getByLabel("Temperature at the standard").fill("20.1");
  await page.getByRole("button", { name: "Enter the check" }).click();
  await page.getByText("reads this standard right").waitFor();
  const kept = (await page.locator("[role=status]").innerText()).match(/Kept as check (\d+)/)[1];
  await look("check-made");
  await page.getByText("Strike a check out").click();
  await page.getByLabel("Number of the check").fill(kept);
  await page.getByLabel("Why", { exact: true }).fill("the plate was dusty");
  await page.getByRole("button", { name: "Strike out" }).click();
  await page.waitForURL(/instruments\/\d+$/);
  // The register: a cell is registered, lent, and pointed out where it is chosen for readings.
  await page.goto(`${address}/instruments`);
  await page.getByRole("link", { name: "a cell" }).click();
  await look("register-cell");
  await page.getByLabel("Name in the laboratory").fill("short 2 (demo)");
  await page.getByLabel("Certified length").fill("ten");
  await page.getByRole("button", { name: "Register" }).click();
  await page.getByRole("alert").waitFor();
  assert.equal(await page.getByLabel("Certified length").getAttribute("aria-invalid"), "true");
  await look("register-fault");
  await page.getByLabel("Certified length").fill("50.01");
  await page.getByLabel("Material of the windows").fill("glass");
  await page.getByRole("button", { name: "Register" }).click();
  await page.waitForURL(/equipment\/\d+$/);
  const short = page.url();
  await page.getByLabel("Who takes it").fill("third floor (demo)");
  await page.getByLabel("Until when").fill("2099-12-18");
  await page.getByRole("button", { name: "Lend it" }).click();
  await page.getByText("Lent to third floor (demo) until 2099-12-18.").waitFor();
  await look("equipment-lent");
  const revision = await page.locator("form[action^='/equipment/'] input[name=revision]").first().inputValue();
  await page.getByLabel("Filling").fill("1.2");
  await page.getByLabel("Why", { exact: true }).fill("measured with water");
  await page.getByRole("button", { name: "Store the change" }).click();
  await page.getByText("measured with water").waitFor();
  await page.locator("form[action^='/equipment/'] input[name=revision]").first().evaluate((field, old) => { field.value = old; }, revision);
  await page.getByLabel("Filling").fill("1.3");
  await page.getByRole("button", { name: "Store the change" }).click();
  await page.getByText("Somebody else changed this record").waitFor();
  await look("equipment-conflict");
  await page.goto(`${address}/reduce`);
  await page.getByLabel("Readings: type or paste them").fill("-0.842");
  await page.locator("#cell_id").selectOption("short 2 (demo)", { force: true });
  await page.locator("#conc").fill("1.00");
  await page.locator("#solvent").fill("H2O");
  await page.locator("#line").fill("D");
  await page.getByRole("button", { name: "Reduce" }).click();
  await page.getByText("is lent to third floor (demo)").waitFor();
  await page.goto(short);
  await page.getByRole("button", { name: "Take it back" }).click();
  await page.getByText("It is here.").waitFor();
  await page.getByText("Take it out of use").first().click();
  await page.getByLabel("Why it is taken out of use").fill("cracked");
  await page.getByRole("button", { name: "Take it out of use" }).click();
  await page.getByText("Out of use since").waitFor();
  await look("equipment-retired");
  for (const kind of ["instrument", "preset", "standard"]) {
    await page.goto(`${address}/register/${kind}`);
    await look(`register-${kind}`);
  }
  await page.goto(`${address}/instruments?all=on`);
  await page.getByText("out of use since").first().waitFor();
  await look("instruments-all");
  await page.goto(`${address}/log`);
  await page.getByText("lines as CSV").waitFor();
  await look("log");

  await page.goto(`${address}/nowhere`);
  await look("nowhere");
  assert.deepEqual(problems, []);
  console.log(`${looks()} looks at pages: no serious finding of the accessibility checker, nothing asked from outside.`);
} finally {
  clearTimeout(late);
  await end();
}
