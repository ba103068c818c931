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

/** With the components inside drawn too; all of them plain functions, without hooks. */
export function unfolded(part: unknown): unknown {
  if (Array.isArray(part)) return part.map(unfolded);
  const node = part as { type?: unknown; props?: { children?: unknown } } | null;
  if (typeof node !== "object" || !node?.props) return part;
  if (typeof node.type === "function") return unfolded(node.type(node.props));
  return { ...node, props: { ...node.props, children: unfolded(node.props.children) } };
}
