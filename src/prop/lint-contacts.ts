import { contactEnds } from './contact-ends.ts';
import { relayOf } from './kinds/channel.ts';
import { terminalsOf } from './kinds/contact.ts';
import { isLowSide } from './kinds/through-words.ts';
import type { Loom } from './loom.ts';
import type { Notes } from './notes.ts';
import type { RelayChannel } from './schema.ts';

/** Checks the contacts of relays: which terminal the load is connected to, and what that means at rest. */
export function lintContacts(notes: Notes, loom: Loom): void {
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const relay = relayOf(channel);
    const broken = ['contact', 'safe', 'wire', 'vapour', 'duty'].some((key) =>
      notes.given.broken(['channels', name, key]),
    );
    if (relay && !broken && !notes.given.broken(['wires'])) lintContact(notes, loom, name, relay);
  }
}

function lintContact(notes: Notes, loom: Loom, name: string, relay: RelayChannel): void {
  const wires = loom.byChannel.get(name) ?? [];
  const cores = (own: boolean) =>
    wires.filter((wire) => wire.own === own).flatMap((one) => one.cores);
  const load = cores(false);
  const ends = contactEnds(relay, cores(true), load);
  const named = terminalsOf(relay);
  const { common, open, closed } = ends ?? {};
  const at = ['channels', name, 'contact'];
  const all = [common, open, closed].filter((end) => end !== undefined);
  if (named && new Set(all).size < all.length)
    notes.error(at, 'two terminals of the contact are the same', 'give each its own end');
  if (named && load.length > 0) {
    const used = new Set(load.flatMap(({ from, to }) => [from, to]));
    if (!used.has(named.common))
      notes.warning(
        [...at, 'common'],
        `no wire of ${name} ends in ${named.common}`,
        'correct the terminal, or add the wire that feeds the contact',
      );
    if (!ends?.used)
      notes.warning(
        [...at, open === undefined ? 'closed' : 'open'],
        `no wire of ${name} ends in ${[open, closed].filter(Boolean).join(' or ')}`,
        'correct the terminal, or add the wire of what it switches',
      );
  }
  // Without wires, the terminals in the file show which one it is.
  const used =
    ends?.used ??
    (named && (open === undefined ? 'closed' : closed === undefined ? 'open' : undefined));
  if (used === 'closed') lintClosed(notes, loom, name, relay, closed!, open);
  if (used === 'open' && relay.safe === 'on') lintSafeOpen(notes, name, open!, closed);
}

/** Reports a load at the normally closed contact: it is fed whenever the coil has no power. */
function lintClosed(
  notes: Notes,
  loom: Loom,
  name: string,
  relay: RelayChannel,
  closed: string,
  open: string | undefined,
): void {
  const wire = (loom.byChannel.get(name) ?? []).find(
    (one) => !one.own && one.cores.some(({ from, to }) => from === closed || to === closed),
  );
  const core = wire?.cores.findIndex(({ from, to }) => from === closed || to === closed) ?? -1;
  const path = wire
    ? [...wire.path, 'cores', core, wire.cores[core]!.from === closed ? 'from' : 'to']
    : ['channels', name, 'contact', 'closed'];
  const guarded = [relay.vapour && 'vapour', relay.duty && 'duty'].filter(Boolean);
  if (guarded.length > 0) {
    notes.error(
      path,
      `${name} is connected to the normally closed contact ${closed}: it runs whenever the coil has no power, that is while parked, stopped and switched off, and its ${guarded.join(' and ')} limit cannot stop it`,
      `move its wire to the normally open one${open ? `, ${open}` : ''}`,
    );
    return;
  }
  const energised = isLowSide(relay.through) || relay.coil !== undefined;
  if (relay.safe !== 'on')
    notes.note(
      path,
      `${name} is connected to the normally closed contact ${closed}: it is fed whenever the coil has no power`,
      'make sure that this is intended; otherwise move its wire to the normally open one',
    );
  else if (energised && !relay.output.activeLow)
    notes.warning(
      ['channels', name, 'safe'],
      `on puts power on the coil of ${name}, which opens the normally closed contact ${closed}: what must stay on is then off`,
      'remove safe: on: a coil without power keeps this contact closed',
    );
  else
    notes.note(
      ['channels', name, 'safe'],
      `the normally closed contact ${closed} of ${name} stays closed when the coil loses its power, which is right for what must stay on`,
      'check with a meter that on leaves the coil without power; otherwise invert activeLow',
    );
}

function lintSafeOpen(notes: Notes, name: string, open: string, closed: string | undefined): void {
  notes.warning(
    ['channels', name, 'safe'],
    `${name} must stay on and is connected to the normally open contact ${open}: it drops out when the coil loses its power (a fuse, a wire, the supply)`,
    `use the normally closed one${closed ? `, ${closed}` : ''}, which a coil without power keeps closed, with the level that releases the coil as on`,
  );
}
