import { isDeepStrictEqual } from 'node:util';
import type { ChangeMessage, CoreProp } from '../core/core-prop.ts';
import { dropWaysOf } from '../prop/drop-ways.ts';
import type { Loaded } from '../prop/load.ts';
import { longCue } from '../prop/long-cue.ts';
import type { Cue, Prop } from '../prop/schema.ts';
import { type PlayedTake, playedTake, takesOfCue, takesOfCues } from '../prop/take/played.ts';
import type { Changes } from './changes.ts';
import type { PropView } from './protocol.ts';

/** A valid prop file with all that is worked out from it. */
export interface Compiled {
  version: string;
  loaded: Loaded & { prop: Prop };
  view: PropView;
}

/** What the core needs from a prop: nothing of the wiring. */
export function coreProp({ loaded: { prop }, view }: Compiled): CoreProp {
  const { picture: _, performed: __, ...rest } = prop;
  const channels = Object.entries(prop.channels).map(([name, spec]) => [name, bare(spec)]);
  return {
    ...rest,
    wires: [],
    connectors: {},
    channels: Object.fromEntries(channels),
    cueDurationsS: view.cueDurationsS,
    cueTakes: takesOfCues(prop),
    dropWays: dropWaysOf(prop),
  };
}

function bare<T extends Prop['channels'][string]>(spec: T): T {
  const { wire: _, ...rest } = spec;
  return rest as T;
}

/** The view as bytes in a buffer of their own, which can be handed over. */
export function viewBytes(view: PropView): Uint8Array<ArrayBuffer> {
  return new TextEncoder().encode(JSON.stringify(view));
}

/** Not sent with the rest of the prop. */
const APART = new Set([
  'channels',
  'cues',
  'wires',
  'connectors',
  'picture',
  'performed',
  'cueDurationsS',
]);

/** The messages that bring the core from one version to another. */
export function* changeMessages(
  id: number,
  before: Compiled,
  after: Compiled,
  changes: Changes,
): Generator<ChangeMessage> {
  const { prop } = after.loaded;
  const { whenParked, parts } = changes;
  // A sound's file may be another one though the prop file says the same.
  const otherSounds = !isDeepStrictEqual(before.loaded.prop.soundFiles, prop.soundFiles);
  const wanted = (part: string) =>
    !APART.has(part) && (whenParked || parts.has(part) || (otherSounds && part === 'soundFiles'));
  yield {
    t: 'begin',
    id,
    version: after.version,
    base: before.version,
    whenParked,
    changed: changes.list,
    view: viewBytes(after.view),
    rest: {
      ...Object.fromEntries(
        [...new Set([...Object.keys(prop), ...parts])]
          .filter(wanted)
          .map((part) => [part, prop[part as keyof Prop]]),
      ),
      ...otherWays(before.loaded.prop, prop, whenParked),
    },
  };
  for (const [name, spec] of Object.entries(prop.channels)) {
    const was = before.loaded.prop.channels[name];
    if (whenParked || (changes.channels.has(name) && !(was && sameForCore(was, spec))))
      yield { t: 'channel', name, spec: bare(spec) };
  }
  const durations = after.view.cueDurationsS;
  // Poses and groups are looked up when a cue is put together.
  const all = whenParked || parts.has('poses') || parts.has('groups');
  for (const [name, cue] of Object.entries(prop.cues)) {
    const durationS = durations[name] ?? null;
    const same = durationS === (before.view.cueDurationsS[name] ?? null);
    const takes = takesOfCue(prop, cue);
    const others = takes?.some((take, i) => take !== playedBefore(before, cue, i)) ?? false;
    if (all || changes.cues.has(name) || !same || others)
      yield { t: 'cue', name, cue, durationS, ...(takes && { takes }) };
  }
  if (!whenParked)
    for (const name of changes.cues)
      if (!Object.hasOwn(prop.cues, name))
        yield { t: 'cue', name, cue: undefined, durationS: null };
  yield { t: 'end' };
}

/** Where drops are compared with those that the wires explain, if that is another now. */
function otherWays(was: Prop, is: Prop, always: boolean): Pick<CoreProp, 'dropWays'> {
  const dropWays = dropWaysOf(is);
  return always || !isDeepStrictEqual(dropWaysOf(was), dropWays) ? { dropWays } : {};
}

/** What a step that has not changed played before. */
function playedBefore({ loaded: { prop } }: Compiled, cue: Cue, i: number): PlayedTake | undefined {
  return playedTake(prop, longCue(cue).steps[i]!);
}

function sameForCore(was: Prop['channels'][string], is: Prop['channels'][string]): boolean {
  return JSON.stringify(bare(was)) === JSON.stringify(bare(is));
}
