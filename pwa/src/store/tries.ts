/** How often a wrong birth date was given for a link: kept over a reload, so that a locked link says so. Nothing else of the person is. */
import type { Tries } from "../app/app";

const NAME = "yearmark-tries";

function read(): Record<string, number> {
  try {
    return JSON.parse(localStorage.getItem(NAME) ?? "{}") as Record<string, number>;
  } catch {
    return {};
  }
}

/** Where the browser keeps nothing, each load counts from nought. */
export const keptTries: Tries = {
  of: (lookup) => read()[lookup] ?? 0,
  note: (lookup, tries) => {
    const { [lookup]: _before, ...others } = read();
    try {
      const all = tries ? { ...others, [lookup]: tries } : others;
      if (Object.keys(all).length) localStorage.setItem(NAME, JSON.stringify(all));
      else localStorage.removeItem(NAME);
    } catch {
      // The clinic counts too; only the words on a reload are less exact.
    }
  },
};
