import { type Draft, refuse } from './draft.ts';
import { type WireEntry, wiresIn } from './references.ts';

/** The wire with a label. @throws Refusal where there is none, or more than one */
export function wireCalled(draft: Draft, label: string): WireEntry {
  const [wire, ...others] = wiresIn(draft.raw).filter((one) => one.label === label);
  if (!wire) refuse(`there is no wire ${label}; look at the labels in Wiring`, []);
  if (others.length > 0)
    refuse(`${others.length + 1} wires have the label ${label}; edit the file by hand`, []);
  return wire;
}

/** @throws Refusal where a core ends in the cavity already. @param except the core that is moved */
export function mustBeFreeCavity(
  wires: readonly WireEntry[],
  end: string,
  except?: WireEntry['cores'][number],
): void {
  const held = wires.find(({ cores }) =>
    cores.some((one) => one !== except && (one.from === end || one.to === end)),
  );
  if (held)
    refuse(`${end} is taken by wire ${held.label}; one wire to a cavity: give another`, [
      `wire ${held.label}`,
    ]);
}
