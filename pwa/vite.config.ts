import { resolve } from "node:path";
import { defineConfig } from "vitest/config";
import { LANGUAGE_NAMES } from "./src/i18n/index.ts";
import { buildId, oldBrowsers, oneFileShell } from "./vite.shell.ts";

const here = import.meta.dirname;
const lateLanguages = Object.keys(LANGUAGE_NAMES).filter((language) => language !== "en");

export default defineConfig({
  base: "/p/",
  define: {
    __APP_BUILD__: JSON.stringify(buildId(here)),
    __CATALOGUES__: JSON.stringify(Object.fromEntries(lateLanguages.map((language) => [language, `__FILE_${language}__`]))),
  },
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
        ...Object.fromEntries(lateLanguages.map((language) => [language, resolve(here, `src/i18n/${language}.ts`)])),
      },
      // The page's script names the catalogues as files, so their exports must stay.
      preserveEntrySignatures: "allow-extension",
      output: {
        entryFileNames: "[name]-[hash].js",
        chunkFileNames: "[name]-[hash].js",
        assetFileNames: "[name]-[hash][extname]",
      },
    },
  },
  oxc: { jsx: { runtime: "automatic", importSource: "preact" } },
  plugins: [oldBrowsers(), oneFileShell(here)],
  test: { include: ["test/**/*.test.ts"], environment: "node" },
});
