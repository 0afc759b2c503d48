// Measures the report page of five hundred photos: `npm run speed` after run.sh has written the sample pages.
// Prints its size, the time until the first filter is done and the page's own work; nothing fails here, since the
// clock on the wall depends on the machine. The aim: under 15 MB and under 2000 ms.
import { statSync } from "node:fs";
import { loadavg } from "node:os";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { launch } from "./browser.mjs";

const file = path.join(path.resolve(process.env.REPORT_PAGES ?? "../../target/sample-reports"), "large.html");
const browser = await launch(chromium);
for (let run = 1; run <= 5; run += 1) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
  const page = await context.newPage();
  const cdp = await context.newCDPSession(page);
  await cdp.send("Performance.enable", { timeDomain: "threadTicks" });
  const start = performance.now();
  await page.goto(pathToFileURL(file).href, { waitUntil: "commit" });
  await page.waitForFunction(() => document.readyState !== "loading" && document.querySelector("form.filter")?.hidden === false);
  const ready = performance.now() - start;
  await page.locator("select[name=area]").selectOption("Room 2");
  await page.waitForFunction(() => document.querySelector("output[name=shown]").value.includes("view sets"));
  const filtered = performance.now() - start;
  const { metrics } = await cdp.send("Performance.getMetrics");
  const work = 1000 * metrics.find((metric) => metric.name === "TaskDuration").value;
  const megabytes = (statSync(file).size / 1e6).toFixed(1);
  console.log(`run ${run}: ${megabytes} MB, interactive after ${Math.round(ready)} ms, filtered after ${Math.round(filtered)} ms, `
    + `${Math.round(work)} ms of work, load ${loadavg()[0].toFixed(1)}`);
  await context.close();
}
await browser.close();
