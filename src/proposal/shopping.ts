import { factsOf, setUpOf } from '../boards/registry.ts';
import { wiringBudgetOf } from '../prop/budget.ts';
import { bundlesOf } from '../prop/bundles.ts';
import { relayOf } from '../prop/kinds/channel.ts';
import { switchedOf } from '../prop/kinds/polarity.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { throughOf } from '../prop/kinds/through.ts';
import { isLowSide } from '../prop/kinds/through-words.ts';
import { wiresOf } from '../prop/loom.ts';
import { sorted } from '../prop/loom-words.ts';
import { PARTS } from '../prop/parts.ts';
import type { Prop } from '../prop/schema.ts';
import { csvRows } from '../shared/csv.ts';
import { tidy } from '../shared/units.ts';
import { preferredAbove } from '../sums/resistor.ts';
import { wireColourName } from '../sums/wire-colours.ts';

/** What a prop is made of, to buy: parts and metres of wire. */

export interface ShoppingItem {
  /** `wire`, `fuse`, `servo`. */
  item: string;
  /** `20 AWG, RD (red)`, `7.5 A, ISO 8820`. */
  size: string;
  quantity: number;
  unit: 'pieces' | 'm';
  /** Labels, channels or rails that it is for. */
  for: string[];
}

/** More than is measured: ends are stripped, and bends take some. Common practice, no source. */
const SPARE_WIRE = 0.1;
/** Wire is counted up to this (m). */
const STEP_M = 0.1;
/** The resistor at a pin that is pulled (ohm): what the prop file's `pull` stands for. */
const PULL = '10 kohm';

/** Everything that the file names, alike things together. */
export function shoppingList(prop: Prop): ShoppingItem[] {
  const list = new List();
  boards(prop, list);
  supplies(prop, list);
  channels(prop, list);
  connectors(prop, list);
  wires(prop, list);
  bundles(prop, list);
  return list.items();
}

/** The same as RFC 4180 has it; the last line has no end yet. */
export function shoppingCsv(items: readonly ShoppingItem[]): string {
  const rows = items.map(({ item, size, quantity, unit, for: owners }) => [
    ...[quantity, unit, item, size],
    owners.join(' '),
  ]);
  return csvRows([['quantity', 'unit', 'item', 'size', 'for'], ...rows]);
}

class List {
  readonly #items = new Map<string, ShoppingItem>();

  add(
    item: string,
    size: string,
    owner: string,
    quantity = 1,
    unit: ShoppingItem['unit'] = 'pieces',
  ) {
    const key = `${item} ${size} ${unit}`;
    const known = this.#items.get(key) ?? { item, size, quantity: 0, unit, for: [] };
    known.quantity += quantity;
    if (!known.for.includes(owner)) known.for.push(owner);
    this.#items.set(key, known);
  }

  /** Metres are rounded up once, at the end. */
  items(): ShoppingItem[] {
    return [...this.#items.values()].map((one) =>
      one.unit === 'pieces'
        ? one
        : {
            ...one,
            quantity: tidy(
              Math.ceil((one.quantity * (1 + SPARE_WIRE)) / STEP_M - 1e-9) * STEP_M,
              1,
            ),
          },
    );
  }
}

function boards(prop: Prop, list: List): void {
  for (const [name, board] of Object.entries(prop.boards)) {
    const { header, pins, enable } = factsOf(board);
    if (header) list.add('computer', '40-pin header', name);
    else if (pins > 0) list.add('output board', `${pins} outputs`, name);
    else list.add('board', setUpOf(board.driver).about, name);
    if (enable?.(board)) list.add('resistor', `${PULL}, pull-up`, `${name} (OE)`);
  }
}

function supplies(prop: Prop, list: List): void {
  const budgets = new Map(wiringBudgetOf(prop).rails.map((rail) => [rail.name, rail]));
  const known = new Map<
    string,
    { volts: number; amps: number; rails: string[]; battery: boolean }
  >();
  for (const [name, { volts, limitA, supply, fuse, battery }] of Object.entries(prop.rails)) {
    // Rails with one terminal are branches of one supply.
    const key = supply?.plus ?? name;
    const one = known.get(key) ?? { volts, amps: 0, rails: [], battery: battery !== undefined };
    one.amps += limitA;
    one.rails.push(name);
    known.set(key, one);
    if (fuse) list.add('fuse', `${fuse.ratingA} A, ${fuse.standard}`, name);
    const farads = budgets.get(name)?.capacitorF;
    if (farads) {
      const uf = Math.ceil(preferredAbove(farads * 1e6, 'E12'));
      list.add('capacitor', `${uf} uF, ${Math.ceil(volts * 1.5)} V or more`, name);
    }
  }
  for (const { volts, amps, rails, battery } of known.values())
    list.add(
      battery ? 'battery' : 'supply',
      `${volts} V, ${tidy(amps, 1)} A or more`,
      rails.join(' '),
    );
}

function channels(prop: Prop, list: List): void {
  for (const [name, channel] of Object.entries(prop.channels)) {
    const { words, outputs, leds } = kindOf(channel);
    const { part } = channel;
    const about = part === undefined ? 'as in the file' : `${part}: ${PARTS[part]!.about}`;
    const relay = relayOf(channel);
    list.add(relay ? 'load of a relay' : words.part, about, name);
    if (relay)
      list.add(
        relay.coil ? 'relay' : 'relay module',
        relay.coil ? `${relay.coil.volts} V coil` : '5 V',
        name,
      );
    const switched = switchedOf(channel);
    if (!switched) continue;
    const count = outputs(channel).length;
    const through = throughOf(switched);
    if (isLowSide(through))
      list.add(
        through === 'npn' ? 'transistor' : 'MOSFET',
        through === 'npn' ? 'NPN' : 'logic level, N',
        name,
        count,
      );
    const { pull } = switched.output;
    if (pull) list.add('resistor', `${PULL}, pull-${pull}`, name, count);
    for (const { resistorOhm } of leds?.(channel) ?? [])
      if (resistorOhm !== undefined) list.add('resistor', `${tidy(resistorOhm)} ohm`, name);
  }
}

function connectors(prop: Prop, list: List): void {
  for (const [name, { board, cavities, bridged }] of Object.entries(prop.connectors)) {
    if (board !== undefined || cavities === undefined) continue;
    const fused = Object.values(prop.rails).some(({ fuse }) => fuse?.from.startsWith(`${name}-`));
    const supplied = Object.values(prop.rails).some(({ supply }) =>
      supply?.plus.startsWith(`${name}-`),
    );
    if (supplied) continue;
    if (fused)
      list.add('fuse holder', `${cavities - 1} ${cavities === 2 ? 'fuse' : 'fuses'}`, name);
    else if (bridged)
      list.add('terminal block', `${bridged.map((bar) => bar.length).join(' + ')} joined`, name);
    else list.add('plug', `${cavities} contacts`, name);
  }
}

/** Single cores, by size and colour: what a drum holds. */
function wires(prop: Prop, list: List): void {
  for (const { label, gaugeAwg, sectionMm2, lengthM, cores } of sorted(
    wiresOf(prop),
    (one) => one.label,
  )) {
    const size =
      sectionMm2 !== undefined
        ? `${sectionMm2} mm2`
        : gaugeAwg === undefined
          ? 'size not in the file'
          : `${gaugeAwg} AWG`;
    for (const { colour } of cores) {
      const named = wireColourName(colour);
      const full = `${size}, ${colour}${named === undefined ? '' : ` (${named})`}`;
      if (lengthM === undefined) list.add('wire of unknown length', full, label);
      else list.add('wire', full, label, lengthM, 'm');
    }
  }
}

/** A sleeve for each bundle, as long as its longest wire. */
function bundles(prop: Prop, list: List): void {
  for (const { place, cores, lengthM } of bundlesOf(wiresOf(prop)))
    if (lengthM !== undefined) list.add('sleeve', `for ${cores} cores`, place, lengthM, 'm');
}
