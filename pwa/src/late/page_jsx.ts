/**
 * What JSX becomes in a screen that is loaded late: the page hands over its own Preact. Two copies in one page would draw past each other.
 * The build puts this in the place of `preact/jsx-runtime`; such a screen has no hooks.
 */
import type { jsx as PageJsx } from "preact/jsx-runtime";

export interface PagePreact {
  jsx: typeof PageJsx;
  Fragment: unknown;
}

let page: PagePreact;
export let Fragment: unknown;

export function drawWith(given: PagePreact): void {
  page = given;
  Fragment = given.Fragment;
}

export const jsx = (...all: Parameters<typeof PageJsx>): ReturnType<typeof PageJsx> => page.jsx(...all);
export const jsxs = jsx;
