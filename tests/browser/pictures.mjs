// Makes the pictures of the README from invented, labelled data in a library of their own.
//
// Usage: node pictures.mjs PROGRAM FOLDER
import { mkdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { start, instrument } from "./start.mjs";

const [program, folder] = process.argv.slice(2);
if (!program || !folder) {
  console.error("usage: node pictures.mjs PROGRAM FOLDER");
  process.exit(2);
}
mkdirSync(folder, { recursive: true });
const most = 150_000;
const { address, browser, biot, end } = await start(program);
const late = setTimeout(() => end().then(() => process.exit(1)), 180_000);
try {
  // A structure made up for the picture, so that the two hands know each other.
  const hands = {
    R: { name: "(R)-demonstrol (invented)", smiles: "CC(C)[C@H](O)CCC#CCCCC(F)F" },
    S: { name: "(S)-demonstrol (invented)", smiles: "CC(C)[C@@H](O)CCC#CCCCC(F)F" },
  };
  const values = [
    ["R", "[α]D20 −61.2 (c 1.02, EtOH)", "Invented J. Chem. 1 (2019) 12"],
    ["R", "[α]D25 −60.4 (c 0.98, EtOH)", "Invented J. Chem. 3 (2020) 77"],
    ["R", "[α]D20 −62.1 (c 2.1, EtOH)", "Demo Lett. 8 (2021) 5"],
    ["S", "[α]D20 +60.7 (c 1.1, EtOH)", "Demo Lett. 9 (2022) 41"],
    ["R", "[α]D20 −54.8 (c 1.0, CHCl3)", "Invented J. Chem. 1 (2019) 12"],
    ["R", "[α]D22 −55.9 (c 1.5, CHCl3)", "Demo Lett. 11 (2023) 31"],
    ["S", "[α]D20 +54.1 (c 1.2, CHCl3)", "Demo Lett. 9 (2022) 41"],
    ["R", "[α]D25 −64.7 (c 1.0, MeOH)", "Invented J. Chem. 9 (2024) 3"],
  ];
  const known = {};
  for (const [hand, text, citation] of values) {
    const { name, smiles } = hands[hand];
    const compound = hand in known ? [String(known[hand])] : [name, "--new-compound", "--smiles", smiles];
    const added = JSON.parse(biot("add", ...compound, "--text", text, "--citation", citation, "--hand", "independent",
      "--by", "A. First", "--json", "--quiet"));
    known[hand] = added.entry.compound;
    biot("confirm", String(added.entry.entry), "--by", "B. Second", "--why", "invented", "--json", "--quiet");
  }
  const id = known.R;
  instrument(biot);

  const shoot = async (file, { path, width, height, scheme = "light", before }) => {
    const context = await browser.newContext({ viewport: { width, height }, colorScheme: scheme });
    const page = await context.newPage();
    await page.goto(address + path);
    await before?.(page);
    const to = join(folder, file);
    await page.screenshot({ path: to });
    await context.close();
    const size = statSync(to).size;
    if (size > most) throw new Error(`${to} holds ${size} bytes, more than ${most}`);
    console.log(`${to}: ${size} bytes`);
  };
  const asked = new URLSearchParams({ compound: id, value: "-52.6", conc: "1.0", solvent: "EtOH", temp: "20", line: "D" });
  await shoot("result.png", { path: `/check?${asked}`, width: 1000, height: 1000 });
  await shoot("compound.png", { path: `/compounds/${id}`, width: 1000, height: 1215, scheme: "dark" });
  await shoot("control.png", {
    path: "/instruments", width: 430, height: 860,
    before: async (page) => {
      await page.getByRole("link", { name: "north (demo)", exact: true }).click();
      await page.locator("svg.plot").waitFor();
      await page.evaluate(() => document.querySelector("h1").scrollIntoView());
    },
  });
} finally {
  clearTimeout(late);
  await end();
}
