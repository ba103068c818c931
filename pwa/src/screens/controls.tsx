/** What several screens are made of: title, buttons, the ruler, the mark of a side. */
import type { ComponentChildren, JSX } from "preact";
import type { App, View } from "../app/app";
import type { Side } from "../form/due_sheet";
import type { Translate } from "../i18n";
import { RULER, rulerTicks } from "../ruler";

export interface ScreenProps {
  app: App;
  view: View;
  t: Translate;
}

/** One path for each kind of tick: a line for each would be most of what a new screen has to build. */
export function Ruler({ place, of }: { place: number; of: number }): JSX.Element {
  const { width, height, base } = RULER;
  const ticks = rulerTicks(place, of);
  return (
    <svg class="ruler" viewBox={`0 0 ${width} ${height}`} aria-hidden="true" focusable="false" preserveAspectRatio="none">
      {(["done", "ahead", "now"] as const).map((kind) => (
        <path key={kind} class={kind} d={ticks.filter((mark) => mark.kind === kind).map((mark) => `M${mark.x} ${mark.top}V${base - 2}`).join("")} />
      ))}
      <line class="base" x1="1" x2={width - 1} y1={base} y2={base} />
    </svg>
  );
}

/** Left is a teal circle, right a plum square, everywhere. */
export function SideMark({ side }: { side: Side }): JSX.Element | null {
  if (!side) return null;
  return (
    <svg class={`side-mark ${side}`} viewBox="0 0 14 14" aria-hidden="true" focusable="false">
      {side === "left" ? <circle cx="7" cy="7" r="6" /> : <rect x="1.5" y="1.5" width="11" height="11" />}
    </svg>
  );
}

export function sideName(side: Side, t: Translate): string {
  return side === "left" ? t("left_shoulder") : side === "right" ? t("right_shoulder") : t("both_parts");
}

/** Words of more than two short lines are set a little smaller where the screen is low. */
const LONG = 45;

export function Title({ children }: { children: ComponentChildren }): JSX.Element {
  const long = typeof children === "string" && children.length > LONG;
  return (
    <h1 tabIndex={-1} class={long ? "long" : undefined}>
      {children}
    </h1>
  );
}

interface ActionButtonProps {
  name: string;
  onPress?: () => unknown;
  kind?: "main" | "plain" | "quiet";
  busy?: boolean;
  children: ComponentChildren;
}

/** A button with its stable name in `data-do`. Without `onPress` it submits its form. */
export function ActionButton({ name, onPress, kind = "main", busy = false, children }: ActionButtonProps): JSX.Element {
  return (
    <button type={onPress ? "button" : "submit"} class={kind} data-do={name} aria-disabled={busy} onClick={busy ? undefined : onPress}>
      {children}
    </button>
  );
}
