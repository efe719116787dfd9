import type { Prop } from '../prop/schema.ts';
import { board, type Finding } from './boards.ts';
import { clock, node, voltage } from './machine.ts';
import type { World } from './world.ts';

/** Everything that a board needs to run a prop, looked at one after the other; nothing is changed. */
export async function examine(world: World, prop: Prop | undefined): Promise<Finding[]> {
  const findings = [node(world), await voltage(world), await clock(world)];
  for (const [name, spec] of Object.entries(prop?.boards ?? {})) {
    const outputs = Object.entries(prop!.channels)
      .filter(([, { output }]) => output.board === name)
      .map(([channel, { kind, output }]) => ({
        name: channel,
        kind,
        pins: 'pins' in output ? output.pins : [output.pin],
      }));
    findings.push(...(await board(world, name, spec, outputs)));
  }
  return findings;
}
