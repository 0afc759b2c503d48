// The report pages in a real browser: opened from file://, used with mouse and keyboard, filtered, printed,
// and read by an accessibility checker. REPORT_PAGES names the folder of sample pages (see run.sh).
import assert from "node:assert/strict";
import { readFileSync, statSync } from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { after, before, test } from "node:test";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";
import { launch } from "./browser.mjs";

const pages = path.resolve(process.env.REPORT_PAGES ?? "../../target/sample-reports");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const WIDE = { viewport: { width: 1280, height: 900 } };
const PHONE = { viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true };
const PATIENCE_MS = 20_000;
let browser;

before(async () => { browser = await launch(chromium); });
after(async () => { await browser.close(); });

// Opens a sample page; everything the console says and every request beyond the file itself is kept.
async function open(name, options = WIDE) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const said = [];
  const asked = [];
  page.on("console", (message) => said.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => said.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => { said.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on("request", (request) => { if (!request.url().startsWith("data:")) asked.push(request.url()); });
  const url = pathToFileURL(path.join(pages, `${name}.html`)).href;
  await page.goto(url);
  return { page, said, asked, url, close: () => context.close() };
}

// A page on a busy machine answers late. Reads until the value is the wanted one, and then states it.
async function until(read, wanted, message) {
  const fits = wanted instanceof RegExp ? (value) => wanted.test(value) : (value) => value === wanted;
  const deadline = performance.now() + PATIENCE_MS;
  let value = await read();
  while (!fits(value) && performance.now() < deadline) {
    await new Promise((resolve) => setTimeout(resolve, 25));
    value = await read();
  }
  if (wanted instanceof RegExp) assert.match(value, wanted, message);
  else assert.equal(value, wanted, message);
}

// The bench of a view set, set up: that happens when it comes near the view, and its controls appear last.
async function bench(page, index) {
  const root = page.locator("[data-bench]").nth(index);
  await root.scrollIntoViewIfNeeded();
  await root.locator("[data-controls]").waitFor({ state: "visible" });
  return root;
}

// Waits until what was scripted has been laid out and painted.
function painted(page) {
  return page.evaluate(() => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve))));
}

// Scrolls through the page so that everything lazy is set up.
async function walk(page) {
  await page.evaluate(async () => {
    for (let y = 0; y < document.documentElement.scrollHeight; y += 700) {
      window.scrollTo(0, y);
      await new Promise((resolve) => requestAnimationFrame(() => setTimeout(resolve, 5)));
    }
  });
}

for (const name of ["clean", "flawed", "hostile", "index"]) {
  test(`${name}: opens from file:// in silence and asks for nothing else`, async () => {
    const { page, said, asked, url, close } = await open(name);
    await walk(page);
    assert.deepEqual(said, []);
    assert.deepEqual(asked, [url]);
    assert.equal(await page.locator("h1").count(), 1);
    await close();
  });
}

test("pictures are shown wherever they are named", async () => {
  const { page, close } = await open("flawed");
  const broken = await page.evaluate(() =>
    [...document.querySelectorAll("svg use")].filter((use) => !document.querySelector(use.getAttribute("href"))).length);
  assert.equal(broken, 0);
  const sizes = await page.locator(".retakes svg.photo").evaluateAll((all) => all.map((svg) => svg.getBoundingClientRect().height));
  assert.ok(sizes.length >= 5 && sizes.every((height) => height > 50), String(sizes));
  // Every picture has a text that says area, phase and time.
  const alts = await page.locator("svg.photo").evaluateAll((all) => all.map((svg) => svg.getAttribute("aria-label")));
  for (const alt of alts) assert.match(alt, /^.+, (before|during|after), taken \d{4}-\d\d-\d\d \d\d:\d\d, .+/);
  await close();
});

test("the wipe moves with the keyboard and says where it stands", async () => {
  const { page, close } = await open("flawed");
  const first = await bench(page, 0);
  const wipe = first.locator("[data-wipe]");
  const clip = () => first.locator(".over").evaluate((over) => over.style.clipPath);
  await wipe.focus();
  await page.keyboard.press("Home");
  await until(clip, "inset(0px 0px 0px 0%)");
  for (let i = 0; i < 30; i += 1) await page.keyboard.press("ArrowRight");
  await until(() => wipe.inputValue(), "30");
  await until(clip, /30%/);
  await until(() => wipe.getAttribute("aria-valuetext"), "30 % before, 70 % after");
  await close();
});

test("an aligned pair coincides", async () => {
  const { page, close } = await open("flawed");
  // The second view set of the kitchen: same view, drawn through a known plane map.
  const second = await bench(page, 1);
  await second.locator("[data-outline]").click();
  await until(() => second.locator("[data-outline]").getAttribute("aria-pressed"), "false");
  const stage = second.locator("[data-stage]");
  const wipe = second.locator("[data-wipe]");
  // The upper part of the stage: the window and the wall, no debris.
  const shot = async (value) => {
    await wipe.fill(String(value));
    await until(() => second.locator(".over").evaluate((over) => over.style.clipPath), new RegExp(`[ (]${value}%\\)`));
    await painted(page);
    const box = await stage.boundingBox();
    const png = await page.screenshot({ clip: { x: box.x + box.width * 0.1, y: box.y + box.height * 0.12, width: box.width * 0.3, height: box.height * 0.35 } });
    return png.toString("base64");
  };
  const [before, after] = [await shot(100), await shot(0)];
  const difference = await page.evaluate(async ([a, b]) => {
    const pixels = async (data) => {
      const bitmap = await createImageBitmap(new Blob([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))]));
      const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
      canvas.getContext("2d").drawImage(bitmap, 0, 0);
      return canvas.getContext("2d").getImageData(0, 0, bitmap.width, bitmap.height).data;
    };
    const [x, y] = [await pixels(a), await pixels(b)];
    let sum = 0;
    for (let i = 0; i < x.length; i += 1) sum += Math.abs(x[i] - y[i]);
    return sum / x.length;
  }, [before, after]);
  assert.notEqual(before, after);
  assert.ok(difference < 6, `mean difference ${difference} of 255`);
  await close();
});

test("blink alternates by itself", async () => {
  const { page, close } = await open("flawed", { ...WIDE, reducedMotion: "no-preference" });
  const first = await bench(page, 0);
  const blink = first.locator("[data-blink]");
  // What was shown is written down as it happens; asking from outside could miss a change.
  await first.locator(".over").evaluate((over) => {
    window.seen = [];
    const note = () => {
      if (window.seen.at(-1) !== over.style.visibility) window.seen.push(over.style.visibility);
    };
    new MutationObserver(note).observe(over, { attributes: true, attributeFilter: ["style"] });
  });
  await blink.focus();
  await page.keyboard.press("Enter");
  await until(() => blink.getAttribute("aria-pressed"), "true");
  await until(() => page.evaluate(() => window.seen.slice(0, 3).join(" ")), "hidden visible hidden");
  await page.keyboard.press("Enter");
  await until(() => blink.getAttribute("aria-pressed"), "false");
  await until(() => first.locator(".over").evaluate((over) => over.style.visibility), "visible");
  await close();
});

test("with reduced motion each press shows the other photo and nothing moves by itself", async () => {
  const { page, close } = await open("flawed", { ...WIDE, reducedMotion: "reduce" });
  const first = await bench(page, 0);
  const blink = first.locator("[data-blink]");
  const shown = () => first.locator(".over").evaluate((over) => over.style.visibility);
  await blink.focus();
  await page.keyboard.press("Enter");
  await until(() => blink.getAttribute("aria-pressed"), "true");
  await until(shown, "hidden");
  await page.waitForTimeout(1200);
  assert.equal(await shown(), "hidden", "nothing moves by itself");
  await page.keyboard.press("Enter");
  await until(shown, "visible");
  await until(() => blink.getAttribute("aria-pressed"), "true");
  await page.keyboard.press("Enter");
  await until(() => blink.getAttribute("aria-pressed"), "false");
  await close();
});

test("the visible change is drawn where debris was", async () => {
  const { page, said, close } = await open("flawed");
  const second = await bench(page, 1);
  await second.locator("[data-heat]").click();
  const canvas = second.locator("canvas.heat");
  await canvas.waitFor();
  // Its size is set in the same step that draws it.
  await page.waitForFunction(() => document.querySelector("canvas.heat").width === 48);
  const heat = await canvas.evaluate((sheet) => {
    const { width, height } = sheet;
    const pixels = sheet.getContext("2d").getImageData(0, 0, width, height).data;
    const mean = (x0, y0, x1, y1) => {
      let sum = 0, n = 0;
      for (let y = Math.round(y0 * height); y < y1 * height; y += 1)
        for (let x = Math.round(x0 * width); x < x1 * width; x += 1, n += 1) sum += pixels[4 * (y * width + x) + 3];
      return sum / n;
    };
    return { debris: mean(0.2, 0.75, 0.8, 0.9), wall: mean(0.4, 0.2, 0.6, 0.5) };
  });
  assert.ok(heat.debris > 3 * heat.wall + 10, JSON.stringify(heat));
  assert.deepEqual(said, []);
  await close();
});

test("the filter hides what belongs elsewhere and says so", async () => {
  const { page, close } = await open("flawed");
  await page.locator("form.filter").waitFor({ state: "visible" });
  const visible = (selector) => () => page.locator(`${selector}:visible`).count();
  const before = await visible(".finding")();
  await page.locator("select[name=area]").selectOption("Attic");
  await until(visible(".retakes > li"), 2);
  await until(() => page.locator("output[name=shown]").innerText(), /2 retakes, 2 view sets, 1 findings?/);
  assert.ok((await visible(".finding")()) < before);
  await page.locator("select[name=severity]").selectOption("review");
  await until(visible(".retakes > li"), 0);
  await page.locator("button[type=reset]").click();
  await until(visible(".finding"), before);
  // A link to a hidden finding shows it.
  await page.locator("select[name=area]").selectOption("Garage");
  await page.locator("#finding-1").waitFor({ state: "hidden" });
  await page.evaluate(() => { location.hash = "#finding-1"; });
  await page.locator("#finding-1").waitFor({ state: "visible" });
  await close();
});

test("the keyboard reaches everything, in order, with a visible focus", async () => {
  const { page, close } = await open("flawed");
  const seen = [];
  // Benches are set up first, so that no stop moves while it is looked at.
  await walk(page);
  await bench(page, 0);
  await page.evaluate(() => window.scrollTo(0, 0));
  await page.keyboard.press("Tab");
  assert.equal(await page.evaluate(() => document.activeElement.className), "skip");
  for (let i = 0; i < 400; i += 1) {
    const at = await page.evaluate(async () => {
      await new Promise(requestAnimationFrame);
      const e = document.activeElement;
      if (!e || e === document.body) return null;
      const box = e.getBoundingClientRect();
      const style = getComputedStyle(e);
      const front = document.elementFromPoint(Math.max(0, box.x + Math.min(box.width / 2, 40)), box.y + Math.min(box.height / 2, 12));
      return {
        name: `${e.tagName.toLowerCase()} ${e.name || e.className || e.textContent.slice(0, 30)}`,
        outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
        uncovered: Boolean(front && (e.contains(front) || front.contains(e))) || box.height > 800,
        small: !["pre", "div"].includes(e.tagName.toLowerCase()) && (box.height < 23.9 || box.width < 23.9),
      };
    });
    if (!at) break;
    seen.push(at);
    await page.keyboard.press("Tab");
  }
  assert.ok(seen.length > 30, `${seen.length} stops`);
  for (const at of seen) {
    assert.ok(at.outline, `no visible focus: ${at.name}`);
    assert.ok(at.uncovered, `focus hidden: ${at.name}`);
    assert.ok(!at.small, `target below 24 px: ${at.name}`);
  }
  for (const wanted of ["select area", "button", "input", "summary"]) {
    assert.ok(seen.some((at) => at.name.startsWith(wanted)), wanted);
  }
  await close();
});

for (const name of ["clean", "flawed", "hostile", "index"]) {
  for (const [look, options] of Object.entries({ light: WIDE, dark: { ...WIDE, colorScheme: "dark" }, phone: PHONE })) {
    test(`${name}: no accessibility violation (${look})`, async () => {
      const { page, close } = await open(name, options);
      await walk(page);
      await page.evaluate(axe);
      const found = await page.evaluate(() =>
        window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
      const list = found.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")}`);
      assert.deepEqual(list, []);
      await close();
    });
  }
}

test("a phone shows the page without sideways scrolling", async () => {
  for (const name of ["clean", "flawed", "hostile", "index"]) {
    const { page, close } = await open(name, PHONE);
    await walk(page);
    const width = await page.evaluate(() => document.documentElement.scrollWidth);
    assert.ok(width <= 390, `${name}: ${width} px`);
    await close();
  }
});

test("the printed page tells which photos to retake and how", async () => {
  const { page, close } = await open("flawed");
  await page.emulateMedia({ media: "print" });
  const text = await page.locator(".retakes").innerText();
  for (const wanted of ["Kitchen, after", "turn left 14 degrees", "Attic, after", "stand at the hatch", "Garage, after"]) {
    assert.ok(text.toLowerCase().includes(wanted.toLowerCase()), wanted);
  }
  assert.equal(await page.locator(".filter:visible, .stage:visible, .controls:visible").count(), 0);
  assert.ok(await page.locator(".retakes svg.photo:visible").count() >= 5);
  const pdf = await page.pdf({ format: "Letter" });
  assert.ok(pdf.length > 20000 && pdf.subarray(0, 5).toString() === "%PDF-");
  await close();
});

// How fast that is tells page_speed.mjs; a time limit has no place in a test.
test("five hundred photos: under 15 MB, silent, and the filter works", async () => {
  const size = statSync(path.join(pages, "large.html")).size;
  assert.ok(size < 15_000_000, `${size} bytes`);
  const { page, said, close } = await open("large");
  await page.locator("select[name=area]").selectOption("Room 2");
  await until(() => page.locator("output[name=shown]").innerText(), /6 view sets/);
  assert.deepEqual(said, []);
  await close();
});
