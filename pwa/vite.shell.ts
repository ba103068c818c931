/** Build steps of our own: script and style go into index.html, the list of files into sw.js and build.json. */
import { createHash } from "node:crypto";
import { readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { gzipSync } from "node:zlib";
import { build, type Plugin, type ResolvedConfig } from "vite";

function filesUnder(folder: string): string[] {
  return readdirSync(folder)
    .sort()
    .flatMap((name) => {
      const path = join(folder, name);
      return statSync(path).isDirectory() ? filesUnder(path) : [path];
    });
}

/** Version and a hash of everything the app is built from: the same sources give the same id. */
export function buildId(root: string): string {
  const version = JSON.parse(readFileSync(join(root, "package.json"), "utf8")).version as string;
  const hash = createHash("sha256");
  const sources = [...filesUnder(join(root, "src")), ...filesUnder(join(root, "public"))];
  const single = ["index.html", "package-lock.json", "vite.config.ts", "vite.shell.ts"].map((name) => join(root, name));
  for (const path of [...sources, ...single]) hash.update(readFileSync(path)).update("\0");
  return `${version}-${hash.digest("hex").slice(0, 10)}`;
}

/** Files that the page loads later, by their names with a hash: `__FILE_seal__` becomes `seal-abc123.js`. */
function nameLateFiles(html: string, names: string[]): string {
  return html.replaceAll("__IMPORT__(", "import(").replace(/__FILE_(\w+)__/g, (_whole, entry: string) => {
    const name = names.find((each) => each.startsWith(`${entry}-`) && each.endsWith(".js"));
    if (!name) throw new Error(`no file for ${entry}`);
    return name;
  });
}

function inline(out: string): void {
  const page = join(out, "index.html");
  let html = readFileSync(page, "utf8");
  const take = (pattern: RegExp, wrap: (text: string) => string): void => {
    const found = pattern.exec(html);
    if (!found?.[1]) throw new Error(`index.html holds no ${pattern}`);
    const path = join(out, found[1]);
    const text = wrap(readFileSync(path, "utf8").trim());
    html = html.replace(found[0], () => "");
    html = html.replace(text.startsWith("<style") ? "</head>" : "</body>", (end) => text + end);
    rmSync(path);
  };
  take(/<link rel="stylesheet"[^>]*href="\/p\/([^"]+)"[^>]*>/, (text) => `<style>${text}</style>`);
  take(/<script type="module"[^>]*src="\/p\/([^"]+)"[^>]*><\/script>/, (text) => {
    return `<script type="module">${text.replace(/<\/script/g, "<\\/script")}</script>`;
  });
  writeFileSync(page, nameLateFiles(html, readdirSync(out)).replace(/\n\s*/g, "\n"));
}

/** Refuses what old Safari cannot run: a static import in the inlined script, or a chunk that imports the page's script. */
function refuseSharedChunks(out: string, names: string[]): void {
  for (const name of names.filter((each) => each.endsWith(".js"))) {
    const text = readFileSync(join(out, name), "utf8");
    if (/(^|;|\n)import\s*["'{*\w]/.test(text)) throw new Error(`${name} imports another file; it must stand alone`);
  }
}

/**
 * @hpke/common names Node's own crypto for Node 18, which no browser reaches and of which a bundler makes a chunk.
 * Its big integers serve only to derive a public key where a private key cannot be exported, which sealing never does;
 * as literals they would be a syntax error in Safari 13.
 */
function forOldBrowsers(code: string): string {
  return code.replaceAll('await import("crypto")', "{}").replace(/\b(0x[0-9a-f]+|\d+)n\b/gi, '(globalThis.BigInt || Number)("$1")');
}

/**
 * idb ends with the iteration over cursors, which it hooks in at load time, so that a bundler cannot leave it out. No code here iterates, and
 * each first visit would carry it. What comes before the mark knows nothing of it.
 */
function withoutIteration(code: string): string {
  const [needed, unused] = code.split("const advanceMethodProps = ");
  if (!needed || !unused?.includes("export { deleteDB, openDB, unwrap, wrap };")) throw new Error("idb is built in another way: look again at what of it is left out");
  return `${needed}export { openDB };`;
}

function mended(code: string, id: string): string | undefined {
  if (id.includes("@hpke/common")) return forOldBrowsers(code);
  return id.endsWith("/idb/build/index.js") ? withoutIteration(code) : undefined;
}

/** What old Safari cannot run is mended where that is known, and stops the build where it is not. */
export function oldBrowsers(): Plugin {
  return {
    name: "old-browsers",
    apply: "build",
    transform: mended,
    onLog(_level, log) {
      if (log.code === "TOLERATED_TRANSFORM") throw new Error(`does not run in the oldest browser: ${log.message}`);
    },
  };
}

interface Alone {
  entry: string;
  name: string;
  format: "es" | "iife";
}
const ALONE: Alone[] = [
  { entry: "src/sw.ts", name: "sw.js", format: "iife" },
  { entry: "src/seal/sealing.ts", name: "seal-[hash].js", format: "es" },
  { entry: "src/late/privacy.ts", name: "privacy-[hash].js", format: "es" },
];

/**
 * Files that are built by themselves: they need parts of the page's script, which must not become a chunk that both import, since the
 * page's script is inlined and old Safari has no worker of modules. A screen among them draws with the page's own Preact.
 */
async function buildAlone(root: string, { build: { outDir, target } }: ResolvedConfig, { entry, name, format }: Alone): Promise<void> {
  const output = { entryFileNames: name, format };
  const rollupOptions = { input: join(root, entry), output, preserveEntrySignatures: "strict" as const };
  await build({
    root,
    base: "/p/",
    configFile: false,
    logLevel: "warn",
    plugins: [oldBrowsers()],
    oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
    resolve: { alias: { "preact/jsx-runtime": join(root, "src/late/page_jsx.ts") } },
    build: { outDir, target, emptyOutDir: false, copyPublicDir: false, modulePreload: false, rollupOptions },
  });
}

export function oneFileShell(root: string): Plugin {
  let out = "";
  let resolved: ResolvedConfig;
  return {
    name: "one-file-shell",
    apply: "build",
    configResolved(config) {
      resolved = config;
      out = config.build.outDir;
    },
    async writeBundle() {
      for (const each of ALONE) await buildAlone(root, resolved, each);
      inline(out);
      const names = readdirSync(out).sort();
      refuseSharedChunks(out, names);
      const cached = names.filter((name) => name !== "sw.js" && name !== "index.html" && name !== "build.json");
      const worker = join(out, "sw.js");
      const text = readFileSync(worker, "utf8");
      if (!text.includes("__FILES__")) throw new Error("sw.js holds no __FILES__");
      writeFileSync(worker, text.replace(/["'`]__FILES__["'`]/, () => JSON.stringify(cached.join(" "))));
      writeFileSync(join(out, "build.json"), `${JSON.stringify({ build: buildId(root), files: names }, null, 1)}\n`);
      for (const name of names) {
        const bytes = readFileSync(join(out, name));
        console.log(`${name.padEnd(28)} ${String(bytes.length).padStart(7)} B  gzip ${gzipSync(bytes, { level: 9 }).length} B`);
      }
    },
  };
}
