/** What a component without parts of its own draws: its words, where its links lead, and what its own buttons do, by `data-do`. */
type Node = { type?: unknown; props?: { href?: string; "data-do"?: string; onClick?: () => void; children?: unknown } } | string | number | boolean | null | undefined;

interface Drawn {
  words: string;
  links: string[];
  buttons: Record<string, () => void>;
}

export function drawn(part: unknown): Drawn {
  const node = part as Node | Node[];
  if (Array.isArray(node)) {
    const all = node.map(drawn);
    const buttons = Object.assign({}, ...all.map((each) => each.buttons)) as Drawn["buttons"];
    return { words: all.map((each) => each.words).join(""), links: all.flatMap((each) => each.links), buttons };
  }
  if (node === null || node === undefined || typeof node === "boolean") return { words: "", links: [], buttons: {} };
  if (typeof node !== "object") return { words: String(node), links: [], buttons: {} };
  const { href, onClick, children, "data-do": does } = node.props ?? {};
  const within = drawn(children ?? null);
  const buttons = does && onClick ? { ...within.buttons, [does]: onClick } : within.buttons;
  return { ...within, links: href === undefined ? within.links : [href, ...within.links], buttons };
}
