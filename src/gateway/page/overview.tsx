import './overview.css';
import { type Signal, useComputed, useSignal } from '@preact/signals';
import { Fragment } from 'preact';
import type { ChannelInfo } from '../../api/types.ts';
import { batteryText } from '../../prop/battery.ts';
import { fixed } from '../../prop/senses.ts';
import { angle } from './angle.ts';
import { isBig } from './find-channels.ts';
import { KINDS } from './kinds.tsx';
import { BigChannels } from './overview-big.tsx';
import { ChannelList } from './overview-channels.tsx';
import { Cues, Triggers } from './overview-cues.tsx';
import { Journal } from './overview-journal.tsx';
import { FlashCaution } from './overview-light.tsx';
import { ControlSheet, command, delayNote, NumberField, numberIn } from './overview-parts.tsx';
import { Senses } from './overview-senses.tsx';
import { paced } from './pace.ts';
import type { PageKind } from './page-kind.ts';
import { channels, groups, poses, type RailState, rails } from './store.ts';

/** From this share of its limit on, a rail's load is called near. */
const NEAR_LIMIT = 0.8;

/** The whole prop at a glance: power, poses, cues and switches first, then what moves, then the journal. */
export function Overview() {
  const all = Object.values(channels.value);
  const moving = all.some(({ kind }) => KINDS[kind].moves);
  if (isBig(channels.value))
    return (
      <div class="overview is-big">
        <div class="column">
          <BigChannels groupControls={(group) => <GroupMove name={group} />} />
        </div>
        <div class="column">
          <Rails />
          <Senses />
          <Poses />
          <Cues />
          <Triggers />
        </div>
        <Journal />
      </div>
    );
  const still = <Sheets moves={false} />;
  return (
    <div class="overview">
      <div class="column">
        <Rails />
        <Senses />
        <Poses />
        <Cues />
        <Triggers />
        {moving && still}
      </div>
      <div class="column">
        {Object.entries(groups.value).map(([name, members]) => (
          <GroupSheet key={name} name={name} members={members} />
        ))}
        <Sheets moves />
        {!moving && still}
      </div>
      <Journal />
    </div>
  );
}

/** The channels of one kind that are in no group. */
function ofKind(kind: ChannelInfo['kind']): [string, ChannelInfo][] {
  return Object.entries(channels.value).filter(
    ([, info]) => info.kind === kind && info.groups.length === 0,
  );
}

type Entries = [kind: ChannelInfo['kind'], record: PageKind];

/** A sheet for every kind that moves, or that does not; kinds may share one. */
function Sheets({ moves }: { moves: boolean }) {
  const kinds = (Object.entries(KINDS) as Entries[]).filter(([, record]) => record.moves === moves);
  const titles = [...new Set(kinds.map(([, { sheet }]) => sheet))];
  return titles.map((title) => (
    <KindSheet key={title} title={title} kinds={kinds.filter(([, { sheet }]) => sheet === title)} />
  ));
}

function KindSheet({ title, kinds }: { title: string; kinds: Entries[] }) {
  const lists = kinds
    .map(([kind, record]) => ({ ...record, list: ofKind(kind) }))
    .filter(({ list }) => list.length > 0);
  if (lists.length === 0) return null;
  return (
    <ControlSheet title={title}>
      {lists.some(({ lit }) => lit) && <FlashCaution />}
      {lists.map((one) => (
        <Fragment key={one.title}>
          {kinds.length > 1 && <h3>{one.title}</h3>}
          <ChannelList list={one.list} />
        </Fragment>
      ))}
    </ControlSheet>
  );
}

function GroupSheet({ name, members }: { name: string; members: string[] }) {
  return (
    <ControlSheet title={`Group ${name}`}>
      <GroupMove name={name} />
      <ChannelList list={entriesOf(members)} />
    </ControlSheet>
  );
}

function entriesOf(members: readonly string[]): [string, ChannelInfo][] {
  return members.flatMap((member): [string, ChannelInfo][] => {
    const info = channels.value[member];
    return info ? [[member, info]] : [];
  });
}

/** Moves all members of a group together: to a mark that all have, or to an angle. */
function GroupMove({ name }: { name: string }) {
  const to = useSignal('');
  const over = useSignal('');
  const list = entriesOf(groups.value[name] ?? []);
  const [first, ...others] = list.map(([, info]) => Object.keys(info.marks ?? {}));
  const marks = (first ?? []).filter((mark) => others.every((their) => their.includes(mark)));
  const low = Math.max(...list.map(([, info]) => info.limitsDeg?.[0] ?? 0));
  const high = Math.min(...list.map(([, info]) => info.limitsDeg?.[1] ?? 0));
  const move = (target: number | string) =>
    command('group.move', { group: name, to: target, overS: numberIn(over) });
  return (
    <>
      <div class="row">
        {marks.map((mark) => (
          <button
            key={mark}
            type="button"
            aria-label={`${mark}: move ${name}`}
            onClick={() => move(mark)}
          >
            {mark}
          </button>
        ))}
        <NumberField label="over (s)" text={over} min={0} />
      </div>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          void move(Number(to.value));
        }}
      >
        <NumberField label="to (deg)" text={to} min={low} max={high} required />
        <button type="submit" aria-label={`Move ${name} to the angle`}>
          Move
        </button>
      </form>
      <p class="hint">
        All arrive together.{' '}
        {low <= high && `Every member reaches ${angle(low)} to ${angle(high)}.`}
      </p>
    </>
  );
}

function Poses() {
  const over = useSignal('');
  if (poses.value.length === 0) return null;
  return (
    <ControlSheet title="Poses">
      <div class="row">
        {poses.value.map((pose) => (
          <button
            key={pose}
            type="button"
            onClick={() => command('pose.go', { pose, overS: numberIn(over) })}
          >
            {pose}
          </button>
        ))}
        <NumberField label="over (s)" text={over} min={0} />
      </div>
    </ControlSheet>
  );
}

function Rails() {
  const list = Object.entries(rails.value);
  if (list.length === 0) return null;
  return (
    <section class="sheet" aria-labelledby="rails">
      <h2 id="rails">Power rails</h2>
      <ul class="rails">
        {list.map(([name, rail]) => (
          <Rail key={`${name} ${rail.peek().limitA}`} name={name} rail={rail} />
        ))}
      </ul>
      <p class="hint" role="status">
        {delayNote}
      </p>
    </section>
  );
}

/** What is measured of a rail, beside the estimate; empty where nothing is. */
function measuredText({ amps, measuredA, measuredV }: RailState): string {
  const moreA = measuredA === undefined ? 0 : measuredA - amps;
  const parts = [
    measuredA !== undefined &&
      `${fixed(measuredA, 2)} A (${moreA < 0 ? '−' : '+'}${Math.abs(moreA).toFixed(2)} A)`,
    measuredV !== undefined && `${measuredV.toFixed(2)} V`,
  ].filter((part) => part !== false);
  return parts.length > 0 ? `Estimated. Measured: ${parts.join(', ')}` : '';
}

function batteryShown({ battery }: RailState): string {
  if (!battery) return '';
  const { expectedV } = battery;
  const volts =
    expectedV === undefined ? '' : `; estimated ${expectedV.toFixed(2)} V under this load`;
  return `Battery: ${batteryText(battery)}${volts}`;
}

/** A rail's estimated load against its limit. */
function Rail({ name, rail }: { name: string; rail: Signal<RailState> }) {
  const { limitA } = rail.peek();
  const amps = useComputed(() => paced(rail).amps);
  const measured = useComputed(() => measuredText(paced(rail)));
  const battery = useComputed(() => batteryShown(paced(rail)));
  const text = useComputed(
    () => `${amps.value.toFixed(2)} A of ${limitA} A${closeness(amps.value / limitA)}`,
  );
  return (
    <li>
      <span class="name">{name}</span>
      <span class="value number">{text}</span>
      <meter
        aria-label={`Load of ${name} (A)`}
        min={0}
        max={limitA}
        high={NEAR_LIMIT * limitA}
        optimum={0}
        value={amps}
      />
      {measured.value !== '' && <span class="hint number">{measured}</span>}
      {battery.value !== '' && <span class="hint number">{battery}</span>}
    </li>
  );
}

function closeness(share: number): string {
  if (share > 1) return ', over limit';
  return share > NEAR_LIMIT ? ', near limit' : '';
}
