import type { Remark } from './finding.ts';
import { lintBudget } from './lint-budget.ts';
import { lintCues } from './lint-cues.ts';
import { lintInterlocks } from './lint-interlocks.ts';
import { lintLoom } from './lint-loom.ts';
import { lintMechanics } from './lint-mechanics.ts';
import { lintOutputs } from './lint-outputs.ts';
import { lintRails } from './lint-rails.ts';
import { lintSafety } from './lint-safety.ts';
import { lintServos } from './lint-servos.ts';
import { checkColour, lintShow } from './lint-show.ts';
import { lintIdle, lintTriggers } from './lint-triggers.ts';
import { lintVapour } from './lint-vapour.ts';
import { lintWiring } from './lint-wiring.ts';
import { type Given, Notes } from './notes.ts';
import type { Prop, RelayChannel } from './schema.ts';

/**
 * What the trade knows and the schema cannot say: rules that need two places of the file at once,
 * or the hardware.
 * @param given what the file held, where `prop` is only its sound part.
 */
export function lint(prop: Prop, given: Given): Remark[] {
  const notes = new Notes(prop, given);
  lintLink(notes);
  lintOutputs(notes);
  const limits = lintServos(notes);
  lintMechanics(notes);
  for (const [name, channel] of Object.entries(prop.channels)) {
    if (channel.kind === 'relay') lintRelay(notes, name, channel);
    if (channel.kind === 'rgb')
      checkColour(notes, channel.park.to, ['channels', name, 'park', 'to']);
  }
  lintStopInput(notes);
  lintInterlocks(notes, limits);
  lintSafety(notes, limits);
  lintRails(notes);
  lintWiring(notes, lintBudget);
  lintShow(notes, limits);
  const endless = lintCues(notes, limits);
  lintVapour(notes);
  lintIdle(notes, endless);
  lintTriggers(notes, endless);
  lintWiring(notes, lintLoom);
  return notes.remarks;
}

function lintLink(notes: Notes): void {
  const { onLoss, holdS } = notes.prop.link;
  if (notes.given.broken(['link', 'onLoss']) || notes.given.broken(['link', 'holdS'])) return;
  if (onLoss === 'hold-then-park' && holdS === undefined)
    notes.error(['link', 'onLoss'], 'hold-then-park needs to know how long', 'add holdS (s)');
  if (onLoss === 'park' && holdS !== undefined)
    notes.warning(
      ['link', 'holdS'],
      'holdS has no effect: parking starts at once',
      'remove it, or write onLoss: hold-then-park',
    );
}

function lintStopInput(notes: Notes): void {
  const { stopInput } = notes.prop;
  if (!stopInput) return;
  if (stopInput.category === 2 && !notes.given.broken(['stopInput', 'category']))
    notes.warning(
      ['stopInput', 'category'],
      'category 2 keeps the servos under power: whoever presses the button stays caught',
      'use category 1, or 0',
    );
  if (!stopInput.normallyClosed && !notes.given.broken(['stopInput', 'normallyClosed']))
    notes.warning(
      ['stopInput', 'normallyClosed'],
      'a button whose contact rests open cannot stop anything once its wire is broken',
      'wire a contact that rests closed and write normallyClosed: true',
    );
}

function lintRelay(notes: Notes, name: string, relay: RelayChannel): void {
  const at = ['channels', name];
  const broken = (key: string) => notes.given.broken([...at, key]);
  const { contact, pulseMs, duty } = relay;
  if (!broken('contact') && !broken('pulseMs')) {
    if (contact === 'momentary' && pulseMs === undefined)
      notes.error([...at, 'contact'], 'a momentary contact needs its length', 'add pulseMs (ms)');
    if (contact === 'held' && pulseMs !== undefined)
      notes.error(
        [...at, 'pulseMs'],
        'a held contact has no pulse',
        'remove it, or write contact: momentary',
      );
  }
  if (relay.park.to === 'on' && !broken('contact') && contact === 'momentary')
    notes.error([...at, 'park', 'to'], 'a momentary contact cannot park on', 'write to: off');
  if (relay.flash && relay.light === undefined && !broken('light'))
    notes.error(
      [...at, 'flash'],
      `${name} is not a light, so nothing limits its flashes`,
      'remove it, or write light: true',
    );
  if (relay.park.to === 'on' && duty)
    notes.error(
      [...at, 'park', 'to'],
      `${name} cannot park on: its duty guard opens it after ${duty.maxOnS} s`,
      'write to: off, or remove duty',
    );
  if (pulseMs !== undefined && duty && pulseMs > duty.maxOnS * 1000)
    notes.error(
      [...at, 'pulseMs'],
      `a pulse of ${pulseMs} ms is longer than the duty guard allows`,
      `give ${duty.maxOnS * 1000} or less`,
    );
}
