import { feedsDirectly } from '../prop/battery.ts';
import { cueHints } from '../prop/cue-hints.ts';
import { cueDurationS } from '../prop/cue-plan.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { measuredInfo } from '../prop/kinds/measured.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { armsOf, type Mechanics, mechanicsOf } from '../prop/mechanics.ts';
import { ledSupplyV } from '../prop/pin-load.ts';
import { boardPins } from '../prop/pins.ts';
import type { Channel, Prop } from '../prop/schema.ts';
import { senseInfos } from '../prop/sense-info.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import type { PropView, StaticInfo } from './protocol.ts';

/** Makes views of one version after another; what stays the same is worked out once. */
export class ViewMaker {
  #facts = new Map<string, Known>();

  /** The view of a prop, and how long its cues take. */
  view(prop: Prop, version: string): PropView {
    const used = new Map<string, Known>();
    const groups = groupsOf(prop);
    const arms = new Map(armsOf(prop).flatMap((arm) => arm.map((name) => [name, arm] as const)));
    const info = Object.entries(prop.channels).map(([name, spec]): [string, StaticInfo] => {
      const facts = this.#factsOf(prop, name, spec, arms.get(name) ?? [name], used);
      return [name, infoOf(prop, spec, groups.get(name) ?? [], facts)];
    });
    this.#facts = used;
    return {
      version,
      name: prop.name,
      linkTimeoutMs: prop.link.timeoutMs,
      channels: Object.entries(prop.channels).map(([name, { kind }]) => ({
        name,
        kind,
        value: kindOf({ kind }).value,
      })),
      rails: Object.entries(prop.rails).map(([name, rail]) => ({
        name,
        limitA: rail.limitA,
        volts: rail.volts,
        ...(feedsDirectly(rail) && { battery: rail.battery! }),
      })),
      osc: prop.osc ?? null,
      e131: e131Of(prop),
      show: prop.show ?? null,
      info: Object.fromEntries(info),
      groups: prop.groups,
      poses: Object.keys(prop.poses),
      cueDurationsS: cueDurationsS(prop),
      cueHints: cueHints(prop),
      idle: Object.keys(prop.idle),
      triggers: Object.keys(prop.triggers),
      boards: Object.fromEntries(
        Object.keys(prop.boards).map((name) => [name, boardPins(prop, name)]),
      ),
      senses: senseInfos(prop),
    };
  }

  /** The sums over the mechanics of a channel rest on its own lines and on those of its arm. */
  #factsOf(
    prop: Prop,
    name: string,
    spec: Channel,
    arm: readonly string[],
    used: Map<string, Known>,
  ): Facts {
    const servo = servoOf(spec);
    if (!servo) return NO_FACTS;
    const specs = arm.map((one) => prop.channels[one]!);
    const before = this.#facts.get(name);
    // An edit leaves what it does not change as it is.
    if (before?.specs.length === specs.length && before.specs.every((one, i) => one === specs[i])) {
      used.set(name, before);
      return before.facts;
    }
    const bare = specs.map(({ wire: _, ...rest }, i) => [
      arm[i],
      { ...rest, marks: undefined, park: undefined },
    ]);
    const basis = JSON.stringify(bare);
    const among = Object.fromEntries(arm.map((one, i) => [one, specs[i]!]));
    const facts =
      before?.basis === basis
        ? before.facts
        : {
            mapping: new ServoMapping(servo),
            mechanics: mechanicsOf({ ...prop, channels: among }).get(name) ?? {},
          };
    used.set(name, { specs, basis, facts });
    return facts;
  }
}

/** What of a lighting desk's levels leads what. */
function e131Of({ e131, channels }: Prop): PropView['e131'] {
  if (!e131) return null;
  const { universe, interface: host, port, priority, map } = e131;
  const led = Object.entries(map).map(([name, { address, bits }]) => {
    const { levels = [], moves } = kindOf(channels[name]!);
    return { name, address, bytes: bits / 8, count: levels.length, moves };
  });
  return { universe, host, port, priority, led };
}

/** What is slow to work out. */
interface Facts {
  mapping?: ServoMapping;
  mechanics: Mechanics;
}
/** That, and what it rests on. */
interface Known {
  specs: readonly Channel[];
  basis: string;
  facts: Facts;
}
const NO_FACTS: Facts = { mechanics: {} };

/** How long each cue takes (s); null when it goes on until it is stopped. */
export function cueDurationsS(prop: Prop): Record<string, number | null> {
  return Object.fromEntries(Object.keys(prop.cues).map((name) => [name, cueDurationS(prop, name)]));
}

function groupsOf(prop: Prop): Map<string, string[]> {
  const found = new Map<string, string[]>();
  for (const [group, members] of Object.entries(prop.groups))
    for (const member of members) found.set(member, [...(found.get(member) ?? []), group]);
  return found;
}

function infoOf(prop: Prop, spec: Channel, groups: string[], facts: Facts): StaticInfo {
  const [led] = kindOf(spec).leds?.(spec) ?? [];
  const supplyV = led && ledSupplyV(prop, spec, led.supplyV);
  const common = {
    groups,
    ...(spec.rail && { rail: spec.rail }),
    ...(spec.place && { place: spec.place }),
    ...(spec.wire && { wire: spec.wire.label }),
    output: spec.output,
    measured: measuredInfo(spec),
    ...(supplyV !== undefined && { ledSupplyV: supplyV }),
  };
  return {
    kind: spec.kind,
    ...common,
    ...kindOf(spec).info(spec, { ...facts, sounds: Object.keys(prop.sounds) }),
  };
}
