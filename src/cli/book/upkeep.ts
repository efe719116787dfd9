import { relayOf, servoOf, soundOf } from '../../prop/kinds/channel.ts';
import type { Prop } from '../../prop/schema.ts';
import { type ShoppingItem, shoppingList } from '../../proposal/shopping.ts';

/** What keeps a prop going. Intervals and spares are common practice, no source: a maker's data sheet goes first. */

export interface Chore {
  when: 'each day of use' | 'each month' | 'each year';
  what: string;
}

/** What to look at, and how often. */
export function choresOf(prop: Prop): Chore[] {
  const all = Object.values(prop.channels);
  const day: string[] = [
    "Try the switch that cuts the actuators' power, and each stop, before anybody is near the prop.",
    'Look at the hazard zone: nothing loose, nobody in reach, notices in their place.',
  ];
  const month: string[] = [
    'Power off: wires at moving parts, plugs, strain reliefs. Replace what is chafed.',
  ];
  const year: string[] = [
    'The acceptance sheet again, with a person watching.',
    'A backup (sinew backup), and its restore tried on another board.',
  ];
  month.push(
    `What sinew wear says is due: maintain it, and note it (sinew wear done).${limitsOf(prop)}`,
  );
  for (const name of Object.keys(prop.guards))
    day.push(`Break guard ${name}: the prop must react.`);
  if (all.some((one) => servoOf(one)))
    month.push(
      'Power off: horn screws, rods and hinges. Play, cracks or a servo that buzzes at rest: replace it, then measure its limits again.',
    );
  if (all.some((one) => relayOf(one)))
    month.push('Relays and what they switch: nothing smells, is brown, or warm at rest.');
  if (all.some((one) => relayOf(one)?.vapour))
    day.push('Vapour unit: fresh water before, drained and dried after, no drips at the boards.');
  if (all.some((one) => soundOf(one)))
    month.push('Loudspeakers: the amplifier is still at its mark, and nothing rattles.');
  if (Object.values(prop.rails).some(({ battery }) => battery))
    day.push('Batteries: no swelling, no heat; charged outside the prop, by somebody present.');
  if (Object.values(prop.rails).some(({ fuse }) => fuse))
    year.push('Fuses: the rating that this book says, and the same in the spares.');
  year.push('Feel supplies, plugs and boards after an hour of show: warm at most. Blow out dust.');
  const listed = (when: Chore['when'], list: readonly string[]) =>
    list.map((what) => ({ when, what }));
  return [
    ...listed('each day of use', day),
    ...listed('each month', month),
    ...listed('each year', year),
  ];
}

/** In words, after a space: the limits of wear that the prop file or its parts set; nothing where there are none. */
function limitsOf(prop: Prop): string {
  const limits = Object.entries(prop.channels).flatMap(([name, { maintainEvery }]) => {
    const each = Object.entries(maintainEvery ?? {}).map(([of, limit]) => `${limit} ${of}`);
    return each.length > 0 ? [`${name} every ${each.join(' or ')}`] : [];
  });
  return limits.length > 0 ? ` Limits: ${limits.join('; ')}.` : '';
}

/** What to have in the box: a share of the parts that wear or that fail first. */
const SPARES: Readonly<Record<string, (quantity: number) => number>> = {
  fuse: (quantity) => 2 * quantity,
  servo: () => 1,
  'relay module': () => 1,
  relay: () => 1,
};

export interface PartRow extends ShoppingItem {
  /** How many to keep; 0 where none is usual. */
  spares: number;
}

/** The parts of a prop, with the spares to keep. */
export function partsOf(prop: Prop): PartRow[] {
  return shoppingList(prop).map((one) => ({
    ...one,
    spares: Object.hasOwn(SPARES, one.item) ? SPARES[one.item]!(one.quantity) : 0,
  }));
}
