import { splitEnd } from '../prop/loom-words.ts';
import type { Rename } from './change.ts';
import { type Draft, named, refuse } from './draft.ts';
import { wiresIn } from './references.ts';
import { wireCalled } from './wires.ts';

/** Another name for a part: every place that names it follows, and nothing else changes. */
export function rename(draft: Draft, change: Rename): void {
  const { what, name, to } = change;
  switch (what) {
    case 'channel':
      draft.mustHave(what, 'channels', name);
      draft.mustBeFree(what, to, draft.movable);
      mustBeInNoTake(draft, name, to);
      connectorsOf(draft, name, to);
      follow(draft, what, name, to);
      draft.rename(['channels', name], to);
      break;
    case 'group':
      draft.mustHave(what, 'groups', name);
      draft.mustBeFree(what, to, draft.movable);
      follow(draft, what, name, to);
      draft.rename(['groups', name], to);
      break;
    case 'rail':
    case 'pose':
      draft.mustHave(what, `${what}s`, name);
      draft.mustBeFree(what, to, Object.keys(draft.section(`${what}s`)));
      follow(draft, what, name, to);
      draft.rename([`${what}s`, name], to);
      break;
    case 'sense':
      draft.mustHave(what, 'senses', name);
      draft.mustBeFree(what, to, Object.keys(draft.section('senses')));
      draft.rename(['senses', name], to);
      break;
    case 'mark':
      renameMark(draft, change);
      break;
    case 'wire':
      renameWire(draft, name, to);
  }
}

/** Files of takes are not edited with the prop file: the name must be changed there by hand, before. */
function mustBeInNoTake({ prop }: Draft, name: string, to: string): void {
  for (const [take, file] of Object.entries(prop.performed ?? {})) {
    if (!('take' in file) || !file.take.servos.some((servo) => servo.name === name)) continue;
    refuse(
      `take ${take} moves ${name}: write "servo ${to}" in place of "servo ${name}" in ${prop.takes[take]}, then rename it here`,
      [`take ${take}`],
    );
  }
}

function follow(
  draft: Draft,
  what: 'channel' | 'group' | 'rail' | 'pose',
  name: string,
  to: string,
) {
  for (const { path, atKey, where } of draft.to(what, name)) {
    if (atKey) draft.rename(path, to);
    else draft.set(path, to);
    draft.touch(where);
  }
}

/** Connectors at the wires of a channel that are called exactly as it is. */
function connectorsOf(draft: Draft, name: string, to: string): void {
  const ends = wiresIn(draft.raw)
    .filter(({ own, path }) => own === name || belongs(draft, path, name))
    .flatMap(({ cores }) => cores.flatMap((core) => [core.from, core.to]));
  const connectors = draft.section('connectors') as Record<string, { name?: string } | null>;
  for (const connector of new Set(ends.map((end) => splitEnd(end).connector))) {
    if (!Object.hasOwn(connectors, connector) || connectors[connector]?.name !== name) continue;
    draft.set(['connectors', connector, 'name'], to);
    draft.touch(`connector ${connector}`);
  }
}

function belongs(draft: Draft, [section, i]: readonly (string | number)[], name: string): boolean {
  const wires = draft.raw.wires as { channel?: string }[] | undefined;
  return section === 'wires' && wires?.[Number(i)]?.channel === name;
}

/** Servos whose marks a step of a group names together. */
export function marksOf(draft: Draft, name: string, channels: readonly string[] = []): string[] {
  if (channels.length === 0) refuse(`which servo has the mark ${name}? Give it in channels`, []);
  for (const channel of channels) {
    draft.mustHave('channel', 'channels', channel);
    if (!Object.hasOwn(draft.marks(channel), name))
      refuse(`${channel} has no mark ${name}; give a servo that has one`, [`channel ${channel}`]);
  }
  return [...new Set(channels)];
}

function renameMark(draft: Draft, { name, to, channels }: Rename): void {
  const servos = marksOf(draft, name, channels);
  for (const servo of servos) draft.mustBeFree('mark', to, Object.keys(draft.marks(servo)));
  for (const { path, of, where, what, name: mark } of draft.references) {
    if (what !== 'mark' || mark !== name || !of.some((one) => servos.includes(one))) continue;
    const others = of.filter((one) => !servos.includes(one));
    if (others.length > 0)
      refuse(
        `${where} moves ${named(of)} together to ${name}; rename the mark in ${named(others)} as well`,
        [where],
      );
    draft.set(path, to);
    draft.touch(where);
  }
  for (const servo of servos) draft.rename(['channels', servo, 'marks', name], to);
}

function renameWire(draft: Draft, name: string, to: string): void {
  const { path } = wireCalled(draft, name);
  if (to.length === 0 || to.length > 32) refuse('a label has 1 to 32 characters', []);
  if (wiresIn(draft.raw).some(({ label }) => label === to))
    refuse(`another wire has the label ${to}; give another`, [`wire ${to}`]);
  draft.set([...path, 'label'], to);
}
