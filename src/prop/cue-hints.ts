import { kindOf } from './kinds/registry.ts';
import { longCue } from './long-cue.ts';
import type { Prop, Requirement } from './schema.ts';
import { childrenOf, touchesOf } from './steps.ts';

/** What can be known of a cue before it starts, to tell that it, or a part of it, would be refused. */
export interface CueHint {
  /** What it and the cues within it may command. */
  channels: string[];
  /** It ends the cues that use its channels, and is not refused. */
  takesOver: boolean;
  /** Relays that it switches on. */
  closes: string[];
  /** What its channels require of others that it does not command itself. */
  needs: { channel: string; requires: Omit<Requirement, 'while'> }[];
}

/** The hints of every cue, by its name. */
export function cueHints(prop: Prop): Record<string, CueHint> {
  return Object.fromEntries(Object.keys(prop.cues).map((name) => [name, hintOf(prop, name)]));
}

function hintOf(prop: Prop, name: string): CueHint {
  const channels = new Set<string>();
  /** Those that it brings into use: away from park, on, or lit. */
  const used = new Set<string>();
  const seen = new Set<string>();
  const collect = (cue: string) => {
    if (seen.has(cue) || !Object.hasOwn(prop.cues, cue)) return;
    seen.add(cue);
    for (const step of longCue(prop.cues[cue]!).steps) {
      for (const { channels: touched, to } of touchesOf(prop, step))
        for (const one of touched) {
          channels.add(one);
          const spec = prop.channels[one];
          if (spec && (typeof to === 'object' || kindOf(spec).usedAt(spec, to))) used.add(one);
        }
      for (const child of childrenOf(step)) collect(child.cue);
    }
  };
  collect(name);
  return {
    channels: [...channels],
    takesOver: longCue(prop.cues[name]!).clash === 'take over',
    closes: [...used].filter((one) => kindOf(prop.channels[one]!).switches),
    needs: [...used].flatMap((channel) =>
      (prop.channels[channel]?.requires ?? [])
        .filter((requires) => !channels.has(requires.channel))
        .map(({ while: _, ...requires }) => ({ channel, requires })),
    ),
  };
}
