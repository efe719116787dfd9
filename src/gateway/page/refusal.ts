import { effect, signal } from '@preact/signals';
import { RpcError } from '../../api/client.ts';
import type { RefusalCode } from '../../shared/refusals.ts';
import { angle } from './angle.ts';
import { forPeople } from './for-people.ts';
import { parkValue, SAME_DEG } from './standing.ts';
import {
  brokenGuards,
  channels,
  condition,
  groups,
  holder,
  holding,
  lockout,
  lowSenses,
  moving,
  refused,
  stateOf,
  trouble,
} from './store.ts';

/** Whether the reason of the refusal that is shown has gone; undefined where only time can tell. */
const isOver = signal<(() => boolean) | undefined>(undefined);

/** What a refused channel needs of another one, as the daemon gives it. */
export interface Requirement {
  channel: string;
  above?: number | string;
  below?: number | string;
  is?: string;
}

/** Whether the daemon refused something for this reason. */
export function isRefusal(error: unknown, code: RefusalCode): error is RpcError {
  return error instanceof RpcError && error.data?.code === code;
}

/** Adds value and remedy to a refusal, and takes it away when it is no longer true. To be called once. */
export function watchRefusals(): void {
  let shown = '';
  effect(() => {
    const error = refused.value;
    if (error === undefined) return;
    const data = error instanceof RpcError ? (error.data ?? {}) : {};
    const over = overOf(data);
    shown = `${forPeople((error as Error).message)}${remedyOf(data)}`;
    isOver.value = over;
    trouble.value = shown;
  });
  effect(() => {
    // Looked at first: this may run before the other effect has taken note of the refusal.
    const over = isOver.value;
    if (trouble.value === '') {
      refused.value = undefined;
      isOver.value = undefined;
    } else if (trouble.value === shown && over?.()) trouble.value = '';
  });
}

/** Tells, by what it reads, whether the reason of a refusal has gone. @param data the refusal's values */
export function overOf(data: Record<string, unknown>): () => boolean {
  const code = String(data.code ?? '');
  const then = condition.peek();
  const changed = () => condition.value !== then;
  if (code === 'lease.not-taken') return () => holding.value;
  if (code === 'lease.held') return () => holding.value || holder.value === null;
  if (code === 'lockout.set') return () => lockout.value === null;
  if (code === 'sense.low') return () => lowSenses.value === '';
  if (code === 'guard.broken') return () => brokenGuards.value === '';
  if (/^(jog\.(moving|others-move)|rail\.limit)$/.test(code)) {
    let moved = false;
    return () => {
      moved ||= moving.value.length > 0;
      return changed() || (moved && moving.value.length === 0);
    };
  }
  if (code === 'duty.rest') {
    let rested = false;
    return () => {
      // Said of the state: it may come a moment after the refusal.
      const rests = stateOf(String(data.channel)).value.readyAtS !== undefined;
      rested ||= rests;
      return rested && !rests;
    };
  }
  const needs = data.requires as Requirement | undefined;
  if (code === 'interlock.unmet' && needs) return () => changed() || isMet(needs) === true;
  return changed;
}

function degOf({ channel }: Requirement, place: number | string): number | undefined {
  return typeof place === 'number' ? place : channels.value[channel]?.marks?.[place];
}

/** Whether a value meets a requirement; undefined where this page cannot tell. */
function meets(needs: Requirement, value: unknown): boolean | undefined {
  for (const [side, sign] of [
    ['above', 1],
    ['below', -1],
  ] as const) {
    const place = needs[side];
    const deg = place === undefined ? undefined : degOf(needs, place);
    if (deg !== undefined && typeof value === 'number') return (value - deg) * sign > 0;
  }
  if ((needs.is === 'on' || needs.is === 'off') && typeof value === 'boolean')
    return value === (needs.is === 'on');
  const info = channels.value[needs.channel];
  const home = needs.is === 'parked' && info ? parkValue(info) : undefined;
  if (typeof home === 'number' && typeof value === 'number')
    return Math.abs(value - home) < SAME_DEG;
  return typeof home === 'boolean' && typeof value === 'boolean' ? value === home : undefined;
}

/** Whether a requirement holds now; undefined where this page cannot tell. */
export function isMet(needs: Requirement): boolean | undefined {
  return meets(needs, stateOf(needs.channel).value.value);
}

/** A requirement in words: `tail_1 above 20.0°`. */
export function needText({ channel, above, below, is }: Requirement): string {
  if (is !== undefined) return `${channel} ${is}`;
  const place = above ?? below;
  return `${channel} ${above === undefined ? 'below' : 'above'} ${typeof place === 'number' ? angle(place) : place}`;
}

/** Where the other channel stands, and a place to bring it to: `; it is at 0.0°. Move tail to half.` */
function remedyOf(data: Record<string, unknown>): string {
  const needs = data.requires as Requirement | undefined;
  if (data.code !== 'interlock.unmet' || !needs) return '';
  const { value, flags } = stateOf(needs.channel).peek();
  const known = typeof value === 'number' && !flags.includes('unknown');
  const stands = known ? `; it is at ${angle(value)}.` : '.';
  if (needs.is === 'on' || needs.is === 'off')
    return `. Switch ${needs.channel} ${needs.is} first.`;
  const marks = Object.entries(channels.peek()[needs.channel]?.marks ?? {});
  const mark = marks.find(([, deg]) => meets(needs, deg))?.[0];
  if (mark === undefined) return stands;
  const group = Object.entries(groups.peek()).find(
    ([, members]) =>
      members.includes(needs.channel) &&
      members.every((one) => Object.hasOwn(channels.peek()[one]?.marks ?? {}, mark)),
  );
  return `${stands} Move ${group?.[0] ?? needs.channel} to ${mark}.`;
}
