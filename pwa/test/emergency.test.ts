import { describe, expect, test } from "vitest";
import { readClinic } from "../src/clinic";
import { translator } from "../src/i18n";
import { es } from "../src/i18n/es";
import { CallLinks, Cautions } from "../src/screens/clinic_numbers";
import type { ScreenProps } from "../src/screens/controls";
import { memoryTables } from "../src/store/tables";
import { appOn, Clinic } from "./clinic";

type Node = { type?: unknown; props?: { href?: string; children?: unknown } } | string | number | boolean | null | undefined;

/** What a component without parts of its own draws: its words, and where its links lead. */
function drawn(node: Node | Node[]): { words: string; links: string[] } {
  if (Array.isArray(node)) {
    const all = node.map(drawn);
    return { words: all.map((each) => each.words).join(""), links: all.flatMap((each) => each.links) };
  }
  if (node === null || node === undefined || typeof node === "boolean") return { words: "", links: [] };
  if (typeof node !== "object") return { words: String(node), links: [] };
  const within = drawn((node.props?.children ?? null) as Node | Node[]);
  return { words: within.words, links: node.props?.href === undefined ? within.links : [node.props.href, ...within.links] };
}

async function propsOn(emergency_number: string, t = translator("en")): Promise<ScreenProps> {
  const app = appOn(await Clinic.open(), { tables: memoryTables(), persistence: "nothing" });
  app.context.clinic = { ...app.context.clinic, emergency_number };
  return { app, view: app.view, t };
}

describe("the emergency number", () => {
  test("none is assumed where the page names none", () => {
    expect([readClinic("").emergency_number, readClinic('{"name": "A"}').emergency_number]).toEqual(["", ""]);
  });

  test("the clinic's own is named, and a tap dials it", async () => {
    const props = await propsOn("999");
    for (const part of [CallLinks(props), Cautions(props)]) {
      expect(drawn(part as Node).words).toContain("999");
      expect(drawn(part as Node).links).toContain("tel:999");
    }
  });

  test("comes first where it is the one to call, and last otherwise", async () => {
    const props = await propsOn("999");
    const links = (emergency: boolean): string[] => drawn(CallLinks({ ...props, emergency }) as Node).links;
    expect([links(true), links(false)]).toEqual([["tel:999", "tel:5551"], ["tel:5551", "tel:999"]]);
  });

  test("beside the clinic's number stand its hours in the language that is shown", async () => {
    const props = await propsOn("999");
    props.app.context.clinic.hours = { en: "Monday to Friday", es: "De lunes a viernes" };
    const view = { ...props.view, language: "es" };
    for (const part of [CallLinks({ ...props, view }), Cautions({ ...props, view })]) expect(drawn(part as Node).words).toContain("De lunes a viernes");
  });

  test("without one the words need no number, and no link leads nowhere", async () => {
    const props = await propsOn("");
    for (const part of [CallLinks(props), Cautions(props)]) {
      expect(drawn(part as Node).words).toContain("your emergency number");
      expect(drawn(part as Node).links).not.toContain("tel:");
    }
    expect(drawn(Cautions(await propsOn("", translator("es", es))) as Node).words).toContain("Llame ya al número de emergencias si tiene:");
  });
});
