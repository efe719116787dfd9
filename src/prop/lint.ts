import type { Path, Remark } from './finding.ts';
import type { Written } from './groups.ts';
import { measurementsOf } from './kinds/measured.ts';
import { kindOf } from './kinds/registry.ts';
import { lintBudget, lintRatedSpeeds } from './lint-budget.ts';
import { lintCues } from './lint-cues.ts';
import { lintE131 } from './lint-e131.ts';
import { lintInterlocks } from './lint-interlocks.ts';
import { lintLoom } from './lint-loom.ts';
import { lintManyProps } from './lint-many-props.ts';
import { lintMechanics } from './lint-mechanics.ts';
import { lintOutputs } from './lint-outputs.ts';
import { lintPicture } from './lint-picture.ts';
import { lintPins } from './lint-pins.ts';
import { lintRails } from './lint-rails.ts';
import { lintSafety } from './lint-safety.ts';
import { lintSenses } from './lint-senses.ts';
import { lintShow } from './lint-show.ts';
import { lintSounds } from './lint-sounds.ts';
import { lintTakes } from './lint-takes.ts';
import { lintIdle, lintOsc, lintTriggers } from './lint-triggers.ts';
import { lintUnits } from './lint-units.ts';
import { lintVapour } from './lint-vapour.ts';
import { lintWiring } from './lint-wiring.ts';
import { type Given, type Limits, Notes } from './notes.ts';
import { PARTS, partsFor } from './parts.ts';
import type { Channel, Prop } from './schema.ts';

/**
 * Practical rules that the schema cannot express: those that need several places of the file, or
 * knowledge of the hardware.
 * @param given what the file contains, if `prop` is only its valid part
 * @param written groups and park stages as written, if `prop` has channels instead of groups
 */
export function lint(prop: Prop, given: Given, written?: Written): Remark[] {
  const notes = new Notes(prop, given, written);
  lintUnits(notes);
  lintParts(notes);
  lintMeasured(notes);
  lintLink(notes);
  lintOutputs(notes);
  const limits: Limits = new Map();
  for (const [name, channel] of Object.entries(prop.channels))
    lintChannel(notes, name, channel, limits);
  lintMechanics(notes);
  lintStopInput(notes);
  lintInterlocks(notes, limits);
  lintSafety(notes, limits);
  lintRails(notes);
  lintSenses(notes);
  lintWiring(notes, lintPins);
  lintWiring(notes, lintBudget);
  lintRatedSpeeds(notes);
  lintShow(notes, limits);
  lintTakes(notes);
  lintSounds(notes);
  const endless = lintCues(notes, limits);
  lintVapour(notes);
  lintIdle(notes, endless);
  lintTriggers(notes, endless);
  lintOsc(notes, limits);
  lintManyProps(notes, endless);
  lintE131(notes, limits);
  lintWiring(notes, lintLoom);
  lintPicture(notes);
  return notes.remarks;
}

/** What was found in a channel by itself, and with which boards. */
const known = new WeakMap<
  Channel,
  { name: string; boards: Prop['boards']; remarks: readonly Remark[]; limits: Limits }
>();

/** Checks a channel by itself. Its boards are all else that counts, so most are checked once for many versions. */
function lintChannel(notes: Notes, name: string, channel: Channel, limits: Limits): void {
  const { prop, given } = notes;
  const { boards } = prop;
  let found = given.sound ? known.get(channel) : undefined;
  if (found?.name !== name || found.boards !== boards) {
    const own = new Notes(prop, given);
    found = { name, boards, remarks: own.remarks, limits: new Map() };
    kindOf(channel).check(own, name, channel, found.limits);
    if (given.sound) known.set(channel, found);
  }
  notes.remarks.push(...found.remarks);
  for (const [one, range] of found.limits) limits.set(one, range);
}

/** Checks that a part is for its channel's kind, or its board's driver. */
function lintParts(notes: Notes): void {
  const { channels, boards } = notes.prop;
  for (const [name, { kind, part }] of Object.entries(channels))
    lintPart(notes, ['channels', name, 'part'], kind, part);
  for (const [name, board] of Object.entries(boards))
    lintPart(
      notes,
      ['boards', name, 'part'],
      board.driver,
      'part' in board ? board.part : undefined,
    );
}

function lintPart(notes: Notes, path: Path, kind: string, part: string | undefined): void {
  if (part === undefined || partsFor(kind).includes(part)) return;
  const [, name] = path;
  const meant = PARTS[part]!.kind;
  notes.error(
    path,
    `${part} is a part for ${an(meant)}, and ${name} is ${an(kind)}`,
    `use one of ${partsFor(kind).join(', ')}`,
  );
}

/** Says which measurements are void. */
function lintMeasured(notes: Notes): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    if (notes.given.broken(['channels', name])) continue;
    for (const { what, date, holds } of measurementsOf(channel)) {
      if (holds) continue;
      notes.note(
        ['channels', name, 'measured', what],
        `what was measured on ${date} is no longer what the file has, so ${name} counts as not measured`,
        'measure it again on the page (Bench), or remove this line',
      );
    }
  }
}

function an(kind: string): string {
  return `${/^rgb/.test(kind) ? 'an' : 'a'} ${kind}`;
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
