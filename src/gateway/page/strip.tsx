import './strip.css';
import { useComputed } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { NOT_PARKED } from '../../shared/condition-text.ts';
import { forPeople } from './for-people.ts';
import { linkState, roundTripMs } from './link.ts';
import {
  armedForShow,
  ask,
  asks,
  brokenGuards,
  cause,
  condition,
  cueList,
  handover,
  holder,
  holding,
  known,
  lockout,
  moving,
  notParked,
  nowS,
  refused,
  servosAwake,
  trouble,
} from './store.ts';
import { me } from './who.ts';

/** Shown beside the condition, so that colour is never the only sign. */
const SIGNS: Record<string, string> = {
  parked: '■',
  waking: '△',
  live: '▲',
  parking: '▽',
  stopped: '✕',
  faulted: '!',
};

/** So many names of what moves are written out. */
const NAMED = 4;

/**
 * What holds now, always in view and of one height, so that nothing below it ever shifts: condition and
 * cause, who has control, what runs and moves, what was refused last.
 */
export function Strip({ children }: { children?: ComponentChildren }) {
  return (
    <section class="strip" aria-label="State of the prop" inert={linkState.value !== 'open'}>
      <p class={`condition is-${known.value ? condition.value : 'unknown'}`} role="status">
        <ConditionText />
      </p>
      <div class="strip-words">
        <p class="cause">
          <Why />
        </p>
        <p class="lease">
          <WhoHas />
        </p>
      </div>
      <LeaseButton />
      <p class="goings">
        <Runs /> <Moves />
        {refused.value !== undefined && trouble.value && (
          <span class="strip-refused" aria-hidden="true">
            ! {trouble.value}
          </span>
        )}
      </p>
      <p class="trip" title="Round trip of the link">
        <RoundTrip />
      </p>
      {children}
    </section>
  );
}

function ConditionText() {
  if (!known.value) return <>no link yet</>;
  return (
    <>
      <span aria-hidden="true">{SIGNS[condition.value]}</span>{' '}
      {notParked.value === undefined ? condition.value : NOT_PARKED}
      {condition.value === 'waking' && <Count />}
    </>
  );
}

/** How far waking has come: `12 of 60`. */
function Count() {
  const { awake, of } = servosAwake.value;
  return (
    <span class="number">
      {' '}
      {awake} of {of}
    </span>
  );
}

/** What the prop came to by itself, in its turn. */
const ALONE: Record<string, string> = { live: 'Awake and ready.', parked: 'At rest.' };

/** Why it is in its condition: hands in the prop first, then who or what brought it there. */
function Why() {
  if (!known.value) return <>Nothing is known of the prop yet.</>;
  if (lockout.value)
    return (
      <b>
        Hands in: {lockout.value.by} ({lockout.value.reason})
      </b>
    );
  if (brokenGuards.value) return <b>Guard broken: {brokenGuards.value}</b>;
  if (notParked.value !== undefined) return <>{notParked.value}</>;
  if (!cause.value) return null;
  const { who, words } = cause.value;
  const why = words.startsWith(`${condition.value}: `)
    ? words.slice(condition.value.length + 2)
    : '';
  if (who === 'prop' && !why) return <>{ALONE[condition.value] ?? 'by itself'}</>;
  const by = who === 'prop' ? 'by itself' : `by ${who === me.value ? 'you' : who}`;
  return <>{why ? `${by}: ${forPeople(why)}` : by}</>;
}

function WhoHas() {
  if (!known.value) return null;
  if (holding.value) {
    const [first] = asks.value;
    return first ? <b>{first} asks for control.</b> : <>You have control.</>;
  }
  if (holder.value) {
    const asked = asks.value.includes(me.value) ? ' You have asked for it.' : '';
    return <>{`${holder.value} has control.${asked}`}</>;
  }
  if (handover.value) {
    const leftS = Math.max(0, Math.ceil(handover.value.untilS - nowS.value));
    return (
      <b class="number">
        {handover.value.by === me.value ? 'Handed over' : `${handover.value.by} hands over`}: parks
        in {leftS} s.
      </b>
    );
  }
  return <>Nobody has control.</>;
}

/** So long the prop waits for the next holder (s). */
const GRACE_S = 30;

function LeaseButton() {
  if (holding.value)
    return (
      <button type="button" onClick={() => ask('lease.release', { graceS: GRACE_S })}>
        Hand over
      </button>
    );
  return null;
}

function Runs() {
  const runs = useComputed(() => {
    const { cues, idle, triggers } = cueList.value;
    const names = Object.entries(cues).flatMap(([name, { running, startedS, durationS }]) => {
      if (!running) return [];
      if (startedS === undefined) return [name];
      const elapsedS = Math.max(0, nowS.value - startedS);
      return [`${name} ${elapsedS.toFixed(0)}${durationS ? ` of ${durationS.toFixed(0)}` : ''} s`];
    });
    for (const [name, { running }] of Object.entries(idle)) if (running) names.push(`idle ${name}`);
    const armed = [
      ...(triggers.armed && holder.value !== null ? ['triggers armed'] : []),
      ...(armedForShow.value === undefined ? [] : ['armed for the show']),
    ];
    return [...(names.length > 0 ? [`Runs ${names.join(', ')}`] : []), ...armed].join(' · ');
  });
  return <span class="runs number">{runs}</span>;
}

function Moves() {
  const text = useComputed(() => {
    if (!known.value) return '';
    const names = moving.value;
    if (names.length === 0) return 'Nothing moves';
    const more = names.length - NAMED;
    return `Moves ${names.slice(0, NAMED).join(', ')}${more > 0 ? ` and ${more} more` : ''}`;
  });
  return <span class="moves">{text}</span>;
}

function RoundTrip() {
  const text = useComputed(() =>
    Number.isNaN(roundTripMs.value) ? 'link –' : `link ${roundTripMs.value.toFixed(0)} ms`,
  );
  return <>{text}</>;
}
