/** Where the screen has to name the side because the words of a question do not. Pure. */
import type { Definition, ItemText, Side } from "./due_sheet";

/** The owner's words stay as they are; the project's own questions name the side wherever they are about it. */
export function sideToName(side: Side, definition: Definition | undefined, words: ItemText): Side {
  const named = `${words.stem}${words.hint ?? ""}`.includes("{side}");
  return definition?.side && definition.kind !== "form" && !named ? side : null;
}
