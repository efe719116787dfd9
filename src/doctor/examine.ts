import type { Finding, World } from '../boards/doctor.ts';
import { questionsOf } from '../boards/registry.ts';
import type { Prop } from '../prop/schema.ts';
import { chips } from './chips.ts';
import { clock, node, voltage } from './machine.ts';

/** Checks one after the other everything that this machine needs to run a prop; changes nothing. */
export async function examine(world: World, prop: Prop | undefined): Promise<Finding[]> {
  const findings = [node(world), await voltage(world), await clock(world)];
  for (const [name, spec] of Object.entries(prop?.boards ?? {})) {
    const outputs = Object.entries(prop!.channels)
      .filter(([, { output }]) => output.board === name)
      .map(([channel, { kind, output }]) => ({
        name: channel,
        kind,
        pins: 'pins' in output ? output.pins : 'pin' in output ? [output.pin] : [],
      }));
    for (const finding of await questionsOf(spec, world, outputs))
      findings.push({ ...finding, what: `board ${name}: ${finding.what}` });
  }
  findings.push(...(await chips(world, prop?.boards ?? {})));
  return findings;
}
