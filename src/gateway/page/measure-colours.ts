import type { ChannelInfo } from '../../api/types.ts';
import { checkResistor, type ResistorCheck } from '../../sums/resistor.ts';
import type { Three } from '../../sums/white-balance.ts';
import { type Edit, measuredEdit } from './measured.ts';

/** What a person saw of a light, and what the prop file gets. */

export const COLOURS = ['red', 'green', 'blue'] as const;
export type Seen = 'red' | 'green' | 'blue' | 'nothing' | 'other';

interface OrderVerdict {
  says: string;
  isRight: boolean;
  /** Exchanges the pins, where that makes it right. */
  edits: Edit[];
}

/** @param seen what was seen as red, green and blue were shown */
export function orderVerdict(
  channel: string,
  info: ChannelInfo,
  seen: readonly Seen[],
): OrderVerdict {
  const { pins = [] } = info.output ?? {};
  const wrong = (says: string): OrderVerdict => ({ says, isRight: false, edits: [] });
  if (seen.every((one, i) => one === COLOURS[i]))
    return { says: 'Each pin lights its colour.', isRight: true, edits: [] };
  const places = COLOURS.map((colour) => seen.indexOf(colour));
  if (new Set(seen).size === 3 && !places.includes(-1)) {
    const right = places.map((at) => pins[at]!);
    return {
      says: `The pins are in another order: red is on ${right[0]}, green on ${right[1]}, blue on ${right[2]}.`,
      isRight: false,
      edits: [{ path: ['channels', channel, 'output', 'pins'], value: right }],
    };
  }
  if (seen.includes('other'))
    return wrong(
      'Where a colour is mixed of two, or white without one: the common pin may be the other kind (anode or cathode in the file), or two wires touch. Cut the power and look.',
    );
  if (seen.every((one) => one === 'nothing'))
    return wrong('Nothing lights: look at its supply, and at the common wire.');
  if (seen.includes('nothing'))
    return wrong(
      `Dark where ${COLOURS.filter((_, i) => seen[i] === 'nothing').join(' and ')} should be: look at that wire and its resistor.`,
    );
  return wrong('Two pins light the same colour: look for wires that touch, or were joined.');
}

/** The white balance, and the note that it was matched by eye. */
export function whiteEdits(
  channel: string,
  info: ChannelInfo,
  whiteBalance: Three,
  date: string,
): Edit[] {
  return [
    { path: ['channels', channel, 'whiteBalance'], value: [...whiteBalance] },
    measuredEdit(channel, 'white', { ...info, whiteBalance }, date),
  ];
}

/** One LED with its resistor, and how to light it alone and fully. */
export interface Lit {
  name: string;
  forwardV: number;
  ohm: number;
  /** The share of the time in which it is on, when shown in full. */
  duty: number;
}

/** The LEDs of a light that have a resistor in the file. */
export function litOf({ led, whiteBalance = [1, 1, 1] }: ChannelInfo): Lit[] {
  if (led?.resistorOhm === undefined) return [];
  const { forwardV, resistorOhm } = led;
  if (typeof forwardV === 'number' || typeof resistorOhm === 'number')
    return [{ name: 'LED', forwardV: Number(forwardV), ohm: Number(resistorOhm), duty: 1 }];
  return COLOURS.map((name, i) => ({
    name,
    forwardV: forwardV[i]!,
    ohm: resistorOhm[i]!,
    duty: whiteBalance[i]!,
  }));
}

/** What a voltage across a resistor says (V). */
export function resistorResult(
  { led }: ChannelInfo,
  { forwardV, ohm, duty }: Lit,
  supplyV: number,
  measuredV: number,
): ResistorCheck {
  const { currentA, spreadV } = led!;
  return checkResistor({ supplyV, forwardV, spreadV, currentA }, ohm, measuredV, duty);
}

const mA = (amps: number) => `${(amps * 1000).toFixed(1)} mA`;

/** The same in words. */
export function resistorText({ verdict, currentA, forwardV, expectedA }: ResistorCheck): string {
  const expected = `${mA(expectedA[0])} to ${mA(expectedA[1])}`;
  switch (verdict) {
    case 'none':
      return 'No current: the LED is dark, the wrong way round, or not connected.';
    case 'high':
      return `${mA(currentA)}: more than the LED may have. Switch it off; the resistor is too small.`;
    case 'low':
      return `${mA(currentA)}, and it should be ${expected}: the resistor is larger than the file says, or the supply is low.`;
    case 'unlike':
      return `${mA(currentA)}, and it should be ${expected}: the LED may have it, but this is not the resistor in the file.`;
    case 'right':
      return `${mA(currentA)}, as it should be (${expected}); the LED has ${forwardV.toFixed(2)} V.`;
  }
}
