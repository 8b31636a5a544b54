// Looks at the page that is open: the accessibility checker in light and dark and at phone width, nothing that scrolls
// sideways, and a screenshot of each when a folder is named. What it finds gathers in `problems`.
import { createRequire } from "node:module";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"];
const wide = { width: 1200, height: 900 };

export async function looker(browser, shots) {
  if (shots) mkdirSync(shots, { recursive: true });
  const context = await browser.newContext({ bypassCSP: true, viewport: wide });
  const page = await context.newPage();
  const problems = [];
  let looks = 0;
  const look = async (name) => {
    for (const [scheme, width] of [["light", 1200], ["dark", 1200], ["light", 390]]) {
      await page.emulateMedia({ colorScheme: scheme });
      await page.setViewportSize({ width, height: 900 });
      await page.evaluate(axe);
      const { violations } = await page.evaluate((runOnly) => axe.run({ runOnly }), rules);
      const serious = violations.filter((one) => ["serious", "critical"].includes(one.impact));
      problems.push(...serious.map(({ id, nodes: [first] }) =>
        `${name}, ${scheme}, ${width}: ${id}: ${first.html} ${first.failureSummary}`));
      const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
      if (over > 1) problems.push(`${name} scrolls sideways by ${over} at ${width}`);
      if (shots) await page.screenshot({ path: join(shots, `${name}-${scheme}-${width}.png`), fullPage: true });
      looks += 1;
    }
    await page.emulateMedia({ colorScheme: "light" });
    await page.setViewportSize(wide);
  };
  return { page, look, problems, looks: () => looks };
}
