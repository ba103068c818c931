declare const __APP_BUILD__: string;
/** Each language but English, and the name of its file. */
declare const __CATALOGUES__: Record<string, string>;
/** The build writes `import` for it; a plain dynamic import would bring the bundler's loader into the page. */
declare function __IMPORT__(path: string): Promise<unknown>;
declare module "*.css";
