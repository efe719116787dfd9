import { show, switchWord } from '../finding.ts';
import { lintRelay } from '../lint-relay.ts';
import { pulseS } from '../pulse.ts';
import { isFedAtRest, terminalsOf } from './contact.ts';
import { vapourInfo } from './info.ts';
import type { Kind } from './kind.ts';
import { steady } from './meter.ts';
import { activeLow } from './polarity.ts';
import type { RelayChannel } from './relay-schema.ts';

/** Current of a relay's load while the contact is closed (A). */
export function relayA({ draw }: Pick<RelayChannel, 'draw'>): number {
  return draw?.onA ?? 0;
}

export const relay: Kind<RelayChannel> = {
  value: 'on',
  part: 'switch',
  moves: false,
  switches: true,
  unlikelyA: 40,
  words: {
    part: 'relay',
    busy: 'fed',
    used: 'on',
    unused: 'off',
    release: (name) => `switch ${name} off`,
    requireInstead: 'use is: on or is: off',
    cores: 'the input of a relay has a control core and a return',
  },
  faults: {
    symptoms: ['dead', 'weak', 'stays-on'],
    rulesOut: ({ duty }) => (duty ? ['it is not in its duty rest'] : []),
    levels: (channel, name) => [
      { command: `sinew switch ${name} on`, ...steady(!activeLow(channel)) },
      { command: `sinew switch ${name} off`, ...steady(activeLow(channel)) },
    ],
    off: (name) => `sinew switch ${name} off`,
  },
  outputs: ({ output: { pin } }) => [{ pin, at: ['pin'] }],
  cores: () => ['signal', 'return'],
  draw: (channel) => {
    const onA = relayA(channel);
    return {
      idleA: isFedAtRest(channel) !== (channel.park.to === 'on') ? onA : 0,
      busyA: onA,
      stallA: onA,
      pinsA: [onA],
    };
  },
  glow: ({ light, flash }) =>
    light && { weight: light === true ? undefined : light, unrestricted: flash !== undefined },
  usedAt: (_channel, value) => value === 'on',
  meets: ({ park }, needs, value) =>
    'is' in needs ? value === (needs.is === 'parked' ? park.to : needs.is) : undefined,
  maxParkS: () => 0,
  check: lintRelay,
  checkPose: (notes, name, _channel, value, path) => {
    if (value !== 'on' && value !== 'off')
      notes.error(
        path,
        `${show(value)} is neither on nor off, and ${name} is a relay`,
        `write ${switchWord(value) ?? 'on or off'}`,
      );
  },
  measurable: () => ['contact'],
  measuredThing: (channel) => ({ output: channel.output, terminals: terminalsOf(channel) }),
  info: (channel) => {
    const terminals = terminalsOf(channel);
    const vapour = vapourInfo(channel);
    const closesS = pulseS(channel);
    return {
      park: { to: channel.park.to === 'on' },
      ...(terminals && { terminals }),
      ...(closesS !== undefined && { pulseMs: closesS * 1000 }),
      ...(channel.duty && { duty: channel.duty }),
      ...(vapour && { vapour }),
    };
  },
};
