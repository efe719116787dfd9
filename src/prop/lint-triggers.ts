import { isLoopback } from '../shared/loopback.ts';
import { servoOf } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import type { Limits, Notes } from './notes.ts';

/** Checks idle behaviours: their cues must end, and their random times must be possible. */
export function lintIdle(notes: Notes, endless: ReadonlySet<string>): void {
  for (const [name, { plays }] of Object.entries(notes.prop.idle)) {
    for (const [i, { cue, everyS }] of plays.entries()) {
      const at = ['idle', name, 'plays', i];
      notes.find('cues', cue, [...at, 'cue']);
      if (endless.has(cue))
        notes.error(
          [...at, 'cue'],
          `cue ${cue} goes on until it is stopped, so nothing would play after it`,
          'use a cue that ends',
        );
      const [shortest, longest] = everyS;
      if (shortest > longest && !notes.given.broken([...at, 'everyS']))
        notes.error(
          [...at, 'everyS'],
          `the shortest pause ${shortest} s is longer than the longest ${longest} s`,
          'give the shorter one first',
          { path: [...at, 'everyS'], value: [longest, shortest] },
        );
    }
  }
}

/** Checks triggers. Their pins are checked with the outputs. */
export function lintTriggers(notes: Notes, endless: ReadonlySet<string>): void {
  const { prop, given } = notes;
  const hasServos = Object.values(prop.channels).some((channel) => kindOf(channel).moves);
  for (const [name, trigger] of Object.entries(prop.triggers)) {
    const at = ['triggers', name];
    const { cue, osc, start, unattended } = trigger;
    notes.find('cues', cue, [...at, 'cue']);
    if (osc !== undefined && !prop.osc && !given.has(['osc']))
      notes.error(
        [...at, 'osc'],
        'there is no port for OSC messages',
        'add osc: { port: ... } to the file, beside triggers',
      );
    if (given.broken([...at, 'unattended'])) continue;
    if (start && !unattended)
      notes.warning(
        [...at, 'start'],
        'this never runs its cue: the prop is parked and nobody has control when the daemon starts',
        'add unattended: true, or remove the trigger',
      );
    if (!unattended) continue;
    if (endless.has(cue))
      notes.error(
        [...at, 'cue'],
        `cue ${cue} goes on until it is stopped, so the prop would never park with nobody there`,
        'use a cue that ends, or remove unattended',
      );
    notes.note(
      [...at, 'unattended'],
      `the prop wakes and ${hasServos ? 'moves' : 'switches'} with nobody in control`,
      'guard the pinch points, post a notice and fit the power switch; local rules apply',
    );
  }
}

/** Checks where OSC messages come in, and what they lead. */
export function lintOsc(notes: Notes, limits: Limits): void {
  const { osc, triggers } = notes.prop;
  if (!osc) return;
  const { perform = {} } = osc;
  for (const [address, { channel, from, to }] of Object.entries(perform)) {
    const at = ['osc', 'perform', address];
    const found = notes.find('channels', channel, [...at, 'channel']);
    if (found && !servoOf(found))
      notes.error(
        [...at, 'channel'],
        `${channel} is not a servo, and only servos are led`,
        'name a servo, or use a trigger with a cue',
      );
    if (from !== undefined) notes.checkPosition(channel, from, [...at, 'from'], limits);
    if (to !== undefined) notes.checkPosition(channel, to, [...at, 'to'], limits);
    const same = Object.entries(triggers).find(([, trigger]) => trigger.osc === address);
    if (same)
      notes.error(
        at,
        `trigger ${same[0]} has the same address`,
        'give one of them another address',
      );
  }
  if (!notes.given.broken(['osc', 'host']) && !isLoopback(osc.host))
    notes.warning(
      ['osc', 'host'],
      `OSC has no token: whoever reaches UDP port ${osc.port} at ${osc.host} can set off the triggers${Object.keys(perform).length > 0 ? ', and lead servos while they are armed' : ''}`,
      'use 127.0.0.1, or keep that network closed to others',
    );
  const used = Object.values(triggers).some((trigger) => trigger.osc !== undefined);
  if (!used && !notes.given.has(['osc', 'perform']) && !notes.given.broken(['triggers']))
    notes.warning(
      ['osc'],
      'no trigger listens to OSC, and it leads no servo',
      'remove it, or add a trigger with osc, or perform',
    );
}
