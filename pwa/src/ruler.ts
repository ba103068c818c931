/** The year mark: ticks along a ruler. On the phone they are the progress through a form. */

export interface Tick {
  x: number;
  top: number;
  kind: "done" | "now" | "ahead";
}

export const RULER = { width: 328, height: 22, base: 20 };
const EDGE = 4;
const TOP = { done: 7, now: 1, ahead: 12 };

/** `place` counts from 1; ticks before it are done. `place` past the end shows all done. */
export function rulerTicks(place: number, of: number): Tick[] {
  const gap = of > 1 ? (RULER.width - 2 * EDGE) / (of - 1) : 0;
  return Array.from({ length: of }, (_, at) => {
    const kind = at + 1 < place ? "done" : at + 1 === place ? "now" : "ahead";
    return { x: Math.round((EDGE + at * gap) * 100) / 100, top: TOP[kind], kind };
  });
}
