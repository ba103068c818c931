import { describe, expect, test } from "vitest";
import { faultOf, readBirthDate, readInteger, typedDigits } from "../src/form/check";
import type { Item } from "../src/form/due_sheet";

const TODAY = "2026-11-25";

describe("an answer against its item", () => {
  const percent: Item = { item: "1", type: "integer", min: 0, max: 100, step: 5 };
  test.each([
    [percent, 85, null],
    [percent, 0, null],
    [percent, 101, "range"],
    [percent, -1, "range"],
    [percent, 83, "step"],
    [percent, 8.5, "not_a_number"],
    [percent, null, "missing"],
    [{ item: "1", type: "choice", codes: [1, 0] }, 0, null],
    [{ item: "1", type: "choice", codes: [1, 0] }, 2, "range"],
    [{ item: "1", type: "month" }, "2026-11", null],
    [{ item: "1", type: "month" }, "2026-12", "future"],
    [{ item: "1", type: "month" }, "2026-13", "missing"],
    [{ item: "1", type: "text", max_length: 3 }, "abcd", "too_long"],
    [{ item: "1", type: "text", max_length: 3 }, "", "missing"],
  ] as [Item, number | string | null, string | null][])("%j with %j is %j", (item, value, fault) => {
    expect(faultOf(item, value, TODAY)).toBe(fault);
  });

  test("digits of Arabic and Persian keyboards count", () => {
    expect([readInteger("٤٢"), readInteger("۴۲"), readInteger("4a"), readInteger("")]).toEqual([42, 42, null, null]);
  });
});

describe("typing a number", () => {
  test.each([
    ["the first digit on coming back replaces the answer", "126", "6", true, "6"],
    ["so does one of an Arabic keyboard", "12٦", "٦", true, "6"],
    ["the next one is added", "63", "3", false, "63"],
    ["into an empty field it is simply the first", "6", "6", true, "6"],
    ["wiping a digit out on coming back leaves the others", "1", null, true, "1"],
    ["a letter on coming back changes nothing", "12x", "x", true, "12"],
    ["no more digits than the largest number has", "1045", "5", false, "104"],
    ["no zeros in front", "07", "7", false, "7"],
  ] as [string, string, string | null, boolean, string][])("%s", (_what, whole, added, untouched, digits) => {
    expect(typedDigits(whole, added, untouched, 104)).toBe(digits);
  });
});

describe("the date of birth", () => {
  test("a clock of 1970 or of 2099 bars nobody", () => {
    for (const today of ["1970-01-01", "2099-12-31"]) expect(readBirthDate("29", "2", "1952", today)).toEqual({ born: "1952-02-29" });
  });

  test.each([
    ["29", "2", "1952", { born: "1952-02-29" }],
    ["٠١", "۰۲", "۱۹۵۰", { born: "1950-02-01" }],
    ["29", "02", "1951", { fault: "no_such_day" }],
    ["29", "02", "1900", { fault: "no_such_day" }],
    ["31", "4", "1950", { fault: "no_such_day" }],
    ["0", "4", "1950", { fault: "day" }],
    ["1", "13", "1950", { fault: "month" }],
    ["1", "1", "50", { fault: "year" }],
    ["26", "11", "2026", { fault: "future" }],
    ["25", "11", "2026", { born: "2026-11-25" }],
    ["1", "1", "1900", { fault: "too_old" }],
  ])("%s %s %s", (day, month, year, read) => {
    expect(readBirthDate(day, month, year, TODAY)).toEqual(read);
  });
});
