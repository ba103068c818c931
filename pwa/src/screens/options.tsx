/** A choice among a few words. */
import type { JSX } from "preact";

export interface Option {
  /** `data-code` */
  code: string;
  label: string;
  chosen: boolean;
  choose(): void;
}

/** Real radio buttons, each laid over its whole row. */
export function Options({ name, options, tight = false }: { name: string; options: Option[]; tight?: boolean }): JSX.Element {
  return (
    <div class={tight ? "options tight" : "options"}>
      {options.map((option) => (
        <label key={option.code} class={option.chosen ? "opt on" : "opt"} data-code={option.code}>
          <input type="radio" name={name} value={option.code} checked={option.chosen} autocomplete="off" onChange={() => option.choose()} />
          <i aria-hidden="true" />
          <span>{option.label}</span>
        </label>
      ))}
    </div>
  );
}
