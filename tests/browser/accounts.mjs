// Drives the pages of accounts in a headless Chromium: signing in, the account, the accounts of others, signing out, each
// with the accessibility check in light and dark and at phone width.
//
// Usage: node accounts.mjs PROGRAM [FOLDER FOR SCREENSHOTS]
// The whole takes at most LIMIT seconds (environment, 120): then it ends, and with it what it started.
import assert from "node:assert/strict";
import { looker } from "./look.mjs";
import { start } from "./start.mjs";

const [program, shots] = process.argv.slice(2);
if (!program) {
  console.error("usage: node accounts.mjs PROGRAM [FOLDER FOR SCREENSHOTS]");
  process.exit(2);
}

// Invented people.
const password = "a dozen letters";
const people = [["A. First", "administrator"], ["B. Second", "contributor"], ["C. Third", "reader"]];
const { address, browser, end } = await start(program, ["--accounts"], (biot) => {
  for (const [name, role] of people) biot("account", "add", name, "--role", role, "--password-file", "-", "--quiet");
}, password);
const limit = Number(process.env.LIMIT ?? 120) * 1000;
const late = setTimeout(async () => {
  console.error(`not done after ${limit / 1000} s`);
  await end();
  process.exit(1);
}, limit);

try {
  const { page, look, problems, looks } = await looker(browser, shots);
  const signIn = async (name, typed) => {
    await page.getByLabel("Name").fill(name);
    await page.getByLabel("Password").fill(typed);
    await page.getByRole("button", { name: "Sign in" }).click();
  };

  // A page asks for the sign-in first and comes after it.
  await page.goto(`${address}/review`);
  assert.equal(new URL(page.url()).pathname, "/sign-in");
  await look("sign-in");
  await signIn("A. First", "not the password");
  await page.getByText("The name or the password is not right.").waitFor();
  await look("sign-in-refused");
  await signIn("A. First", password);
  await page.waitForURL(`${address}/review`);
  await page.getByRole("link", { name: "A. First" }).click();
  await look("account");
  await page.getByRole("link", { name: "Accounts of others" }).click();
  await look("accounts");
  await page.getByLabel("Role of C. Third").selectOption("librarian");
  await page.getByRole("listitem").filter({ hasText: "C. Third" }).getByRole("button").click();
  await page.getByText("C. Third, librarian").waitFor();
  await page.goto(`${address}/account`);
  await page.getByRole("button", { name: "Sign out" }).click();
  await page.waitForURL(`${address}/sign-in`);
  await page.goto(address);
  assert.equal(new URL(page.url()).pathname, "/sign-in");

  assert.deepEqual(problems, []);
  console.log(`${looks()} looks at pages of accounts: no serious finding of the accessibility checker.`);
} finally {
  clearTimeout(late);
  await end();
}
