import type { Prop } from './schema.ts';

// Placeholder while the plan is being written.
export function cueDurationS(_prop: Prop, _name: string): number | null {
  return null;
}
