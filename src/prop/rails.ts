import type { Prop, Rail } from './schema.ts';

/** The rail of that name; undefined if no name is given, or the prop has no such rail. */
export function railOf({ rails }: Pick<Prop, 'rails'>, name: string | undefined): Rail | undefined {
  return name !== undefined && Object.hasOwn(rails, name) ? rails[name] : undefined;
}
