/** The name of anything in a prop file. */
export const NAME = /^[A-Za-z][A-Za-z0-9_-]{0,63}$/;

/** The most characters that say where in the prop a channel sits. */
export const MAX_PLACE = 40;

/** A name that is still free: with a number behind it, where it must be. */
export function freeName(name: string, taken: ReadonlySet<string>): string {
  if (!taken.has(name)) return name;
  for (let i = 2; ; i++) if (!taken.has(`${name}_${i}`)) return `${name}_${i}`;
}
