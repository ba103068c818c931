import { resolve } from "node:path";
import { defineConfig } from "vitest/config";
import { buildId, oneFileShell } from "./vite.shell.ts";

const here = import.meta.dirname;

export default defineConfig({
  base: "/p/",
  define: { __APP_BUILD__: JSON.stringify(buildId(here)) },
  build: {
    outDir: resolve(here, "../server/static/pwa"),
    emptyOutDir: true,
    target: ["safari13", "chrome80"],
    modulePreload: false,
    assetsInlineLimit: 0,
    cssCodeSplit: false,
    rollupOptions: {
      input: {
        index: resolve(here, "index.html"),
        sw: resolve(here, "src/sw.ts"),
        seal: resolve(here, "src/seal/hpke.ts"),
        es: resolve(here, "src/i18n/es.ts"),
      },
      // The page's script names these two as files, so their exports must stay.
      preserveEntrySignatures: "allow-extension",
      output: {
        entryFileNames: (chunk) => (chunk.name === "sw" ? "sw.js" : "[name]-[hash].js"),
        chunkFileNames: "[name]-[hash].js",
        assetFileNames: "[name]-[hash][extname]",
      },
    },
  },
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  plugins: [oneFileShell(here)],
  test: { include: ["test/**/*.test.ts"], environment: "node" },
});
