import { describe, expect, test } from "vitest";
import { readClinic } from "../src/clinic";
import { translator } from "../src/i18n";
import { es } from "../src/i18n/es";
import { CallLinks, Cautions, dial } from "../src/screens/clinic_numbers";
import type { ScreenProps } from "../src/screens/controls";
import { memoryTables } from "../src/store/tables";
import { provenOn } from "./answering";
import { appOn, Clinic } from "./clinic";
import { drawn } from "./drawn";
import { vectors } from "./vectors";

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
      expect(drawn(part).words).toContain("999");
      expect(drawn(part).links).toContain("tel:999");
    }
  });

  test.each(vectors("telephone").cases)("$name is dialled without its extension, as on the staff pages", ({ text, expect: dialled }) => {
    expect(dial(String(text))).toBe(dialled);
  });

  test("comes first where it is the one to call, and last otherwise", async () => {
    const props = await propsOn("999");
    const links = (emergency: boolean): string[] => drawn(CallLinks({ ...props, emergency })).links;
    expect([links(true), links(false)]).toEqual([["tel:999", "tel:5551"], ["tel:5551", "tel:999"]]);
  });

  test("beside the clinic's number stand its hours in the language that is shown", async () => {
    const props = await propsOn("999");
    props.app.context.clinic.hours = { en: "Monday to Friday", es: "De lunes a viernes" };
    const view = { ...props.view, language: "es" };
    for (const part of [CallLinks({ ...props, view }), Cautions({ ...props, view })]) expect(drawn(part).words).toContain("De lunes a viernes");
  });

  test("the numbers of the due sheet, fetched a moment ago, go before those of a page kept since the last visit", async () => {
    const clinic = await Clinic.open("left");
    Object.assign(clinic.sheet.clinic, { emergency_number: "999", phone: "555 2", phone_hours: "Mondays" });
    const app = await provenOn(clinic, { tables: memoryTables(), persistence: "nothing" });
    Object.assign(app.context.clinic, { phone_hours: "Fridays", hours: { en: "Fridays" } });
    const props = { app, view: app.view, t: translator("en") };
    expect(drawn(CallLinks({ ...props, emergency: true })).links).toEqual(["tel:999", "tel:5552"]);
    for (const part of [CallLinks(props), Cautions(props)]) expect(drawn(part).words).toContain("Mondays");
  });

  test("without one the words need no number, and no link leads nowhere", async () => {
    const props = await propsOn("");
    for (const part of [CallLinks(props), Cautions(props)]) {
      expect(drawn(part).words).toContain("your emergency number");
      expect(drawn(part).links).not.toContain("tel:");
    }
    expect(drawn(Cautions(await propsOn("", translator("es", es)))).words).toContain("Llame ya al número de emergencias si tiene:");
  });
});
