import { expect, it, vi } from 'vitest';
import type { ChannelInfo, ChannelState } from '../../src/api/types.ts';

// What the page reads of its address when it is loaded.
vi.stubGlobal('location', { hash: '' });
const { isMet } = await import('../../src/gateway/page/refusal.ts');
const { channels, stateOf } = await import('../../src/gateway/page/store.ts');

function have(name: string, info: Partial<ChannelInfo>, value: ChannelState['value']) {
  const state: ChannelState = { value, target: value ?? 0, flags: [], amps: 0 };
  channels.value = { [name]: { kind: 'servo', groups: [], park: { to: 0 }, ...state, ...info } };
  stateOf(name).value = state;
}

it.each<[what: string, info: Partial<ChannelInfo>, at: number, away: number]>([
  ['an angle', { park: { to: 12 } }, 12.01, 13],
  ['a mark', { marks: { shut: 5 }, park: { to: 'shut' } }, 5, 6],
])('a servo that parks at %s is parked there alone', (_what, info, at, away) => {
  have('lid', info, at);
  expect(isMet({ channel: 'lid', is: 'parked' })).toBe(true);
  have('lid', info, away);
  expect(isMet({ channel: 'lid', is: 'parked' })).toBe(false);
});

it('a relay that parks on is parked when it is on', () => {
  have('fan', { kind: 'relay', park: { to: true } }, true);
  expect(isMet({ channel: 'fan', is: 'parked' })).toBe(true);
  have('fan', { kind: 'relay', park: { to: true } }, false);
  expect(isMet({ channel: 'fan', is: 'parked' })).toBe(false);
});

it('nothing is claimed of a colour, nor of what nobody knows', () => {
  have('eye', { kind: 'rgb', park: { to: 'black' } }, '#000000');
  expect(isMet({ channel: 'eye', is: 'parked' })).toBeUndefined();
  have('lid', {}, null);
  expect(isMet({ channel: 'lid', is: 'parked' })).toBeUndefined();
});
