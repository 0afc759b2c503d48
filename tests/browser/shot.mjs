// Takes pictures of pages: node shot.mjs FILE.html OUT_PREFIX
import { chromium } from "playwright-core";
import { pathToFileURL } from "node:url";
import { launch } from "./browser.mjs";

const [file, prefix] = process.argv.slice(2);
const browser = await launch(chromium);
for (const [name, options] of Object.entries({
  light: { viewport: { width: 1280, height: 900 } },
  dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
  phone: { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, isMobile: true },
})) {
  const page = await (await browser.newContext(options)).newPage();
  page.on("console", (message) => console.log(name, message.type(), message.text()));
  page.on("pageerror", (error) => console.log(name, "error", error.message));
  await page.goto(pathToFileURL(file).href);
  await page.waitForTimeout(300);
  const height = await page.evaluate(() => document.documentElement.scrollHeight);
  for (let y = 0, n = 0; y < Math.min(height, 7000); y += options.viewport.height - 60, n += 1) {
    await page.evaluate((top) => window.scrollTo(0, top), y);
    await page.waitForTimeout(120);
    await page.screenshot({ path: `${prefix}-${name}-${n}.png` });
  }
}
const page = await (await browser.newContext()).newPage();
await page.goto(pathToFileURL(file).href);
await page.pdf({ path: `${prefix}.pdf`, format: "Letter", preferCSSPageSize: true });
await browser.close();
