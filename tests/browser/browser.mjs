// One way to start the browser for every test.
export const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";

export function launch(chromium) {
  return chromium.launch({
    executablePath: CHROMIUM,
    args: ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
      "--disable-background-networking", "--disable-component-update", "--disable-sync"],
  });
}
