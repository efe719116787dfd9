import { contactMode, loadRailOf } from './kinds/contact.ts';
import type { Notes } from './notes.ts';
import type { RelayChannel } from './schema.ts';

/** Checks a relay by itself: its pulse, its park position, and loads without a duty limit. */
export function lintRelay(notes: Notes, name: string, relay: RelayChannel): void {
  lintContact(notes, name, relay);
  lintRelaySafety(notes, name, relay);
}

function lintContact(notes: Notes, name: string, relay: RelayChannel): void {
  const at = ['channels', name];
  const broken = (key: string) => notes.given.broken([...at, key]);
  const { pulseMs, duty } = relay;
  const contact = contactMode(relay);
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

/** Above this a relay's load heats, pumps or pulls so hard that it needs a limit (A): common practice. */
export const UNGUARDED_A = 1;

function lintRelaySafety(notes: Notes, name: string, relay: RelayChannel): void {
  const at = ['channels', name];
  const broken = (key: string) => notes.given.broken([...at, key]);
  const onA = broken('draw') ? 0 : (relay.draw?.onA ?? 0);
  if (onA > 0 && loadRailOf(relay) === undefined && !notes.given.has([...at, 'rail']))
    notes.warning(
      [...at, 'draw'],
      `${name} draws ${onA} A from no rail, so no limit applies to it`,
      'add rail: the supply that it draws from',
    );
  if (onA > UNGUARDED_A && !relay.duty && !notes.given.has([...at, 'duty']))
    notes.warning(
      [...at, 'draw'],
      `${name} may keep ${onA} A on for good: nothing opens it`,
      'add duty: { maxOnS, restS } from the data sheet of its load',
    );
  if (broken('safe') || broken('park')) return;
  if (relay.safe === 'on') {
    if (relay.park.to !== 'on')
      notes.error(
        [...at, 'safe'],
        `${name} is safe closed, but parks open`,
        'add park: { to: on }, or remove safe',
      );
    if (contactMode(relay) === 'momentary')
      notes.error([...at, 'safe'], 'a momentary contact cannot stay closed', 'remove safe');
    if (relay.duty)
      notes.error(
        [...at, 'safe'],
        `${name} cannot stay closed: its duty guard opens it after ${relay.duty.maxOnS} s`,
        'remove safe or duty',
      );
  } else if (relay.park.to === 'on' && contactMode(relay) === 'held' && !relay.duty)
    notes.warning(
      [...at, 'park', 'to'],
      `${name} parks on, but a stop opens it`,
      'add safe: on if it must stay closed, such as a brake or a cooling fan, or write to: off',
    );
}
