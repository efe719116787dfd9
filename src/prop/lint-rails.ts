import { tidy } from '../shared/units.ts';
import { staggeredPeakA } from '../sums/start.ts';
import { loadRailOf } from './kinds/contact.ts';
import { kindOf } from './kinds/registry.ts';
import type { Notes } from './notes.ts';
import { coilDraw, type RailDraw } from './rail-draw.ts';
import { railOf } from './rails.ts';

/** `idleA` flows while the prop is awake and the channel is parked, `stallA` for a moment when it starts. */
interface Load extends RailDraw {
  name: string;
}

/** Rounding error in sums of currents (A): three times 0.4 is a little more than 1.2. */
const SLACK_A = 1e-9;

/** Reports what can never fit within a rail's limit. */
export function lintRails(notes: Notes): void {
  const loads = new Map<string, Load[]>();
  for (const [name, channel] of Object.entries(notes.prop.channels)) {
    const rail = loadRailOf(channel);
    const ownPath = ['channels', name, 'rail'];
    const path = rail === channel.rail ? ownPath : ['channels', name, 'contact', 'rail'];
    if (path !== ownPath && channel.rail !== undefined) notes.find('rails', channel.rail, ownPath);
    if (rail === undefined || !notes.find('rails', rail, path)) continue;
    const broken = ['draw', 'whiteBalance'].some((key) =>
      notes.given.broken(['channels', name, key]),
    );
    if (broken) continue;
    if (!channel.draw) {
      notes.warning(path, `${name} names a rail but no draw, so it counts as 0 A`, 'give its draw');
      continue;
    }
    const { idleA, busyA, stallA } = kindOf(channel).draw(channel);
    const load = { name, idleA, busyA, stallA };
    loads.set(rail, [...(loads.get(rail) ?? []), load]);
    const coil = coilDraw(channel);
    if (coil && railOf(notes.prop, coil.rail))
      loads.set(coil.rail, [...(loads.get(coil.rail) ?? []), { name, ...coil.draw }]);
  }
  for (const [rail, { limitA }] of Object.entries(notes.prop.rails))
    lintRail(notes, rail, limitA, loads.get(rail) ?? []);
}

function lintRail(notes: Notes, rail: string, limitA: number, loads: Load[]): void {
  const limitPath = ['rails', rail, 'limitA'];
  if (notes.given.broken(limitPath)) return;
  const idleA = loads.reduce((sum, load) => sum + load.idleA, 0);
  if (idleA > limitA + SLACK_A) {
    notes.error(
      limitPath,
      `the channels draw ${tidy(idleA)} A when everything holds still, the limit is ${limitA} A`,
      'use a stronger supply or a second rail',
    );
    return;
  }
  /** The rail's current while these loads are busy and the others idle. */
  const whileBusyA = (busy: Load[]) =>
    idleA + busy.reduce((sum, load) => sum + Math.max(0, load.busyA - load.idleA), 0);

  for (const load of loads) {
    const amps = whileBusyA([load]);
    if (amps <= limitA + SLACK_A) continue;
    notes.error(
      ['channels', load.name, 'draw'],
      `${load.name} alone brings rail ${rail} to ${tidy(amps)} A, the limit is ${limitA} A`,
      'use a stronger supply or another rail',
    );
  }
  for (const [group, members] of Object.entries(notes.prop.groups)) {
    const busy = loads.filter(({ name }) => members.includes(name));
    const amps = whileBusyA(busy);
    if (amps <= limitA + SLACK_A) {
      // A load that can never start, even by itself, is reported at the limit.
      const startA = staggeredPeakA(busy, idleA);
      const alone = busy.some((load) => staggeredPeakA([load], idleA) > limitA + SLACK_A);
      if (startA <= limitA + SLACK_A || alone) continue;
      notes.warning(
        ['groups', group],
        `even one after another, its starts bring rail ${rail} to ${tidy(startA)} A for a moment, the limit is ${limitA} A`,
        'make the group smaller, or use a stronger supply or a second rail',
      );
      continue;
    }
    notes.warning(
      ['groups', group],
      `moving together brings rail ${rail} to ${tidy(amps)} A, the limit is ${limitA} A`,
      'make the group smaller, or use a stronger supply or a second rail',
    );
  }
}
