import './setup-parts.css';
import { signal, useSignal, useSignalEffect } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useEffect, useId, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { undoable } from './file-change.ts';
import { fileNews } from './file-news.ts';
import { linkState } from './link.ts';
import { SearchField } from './search-field.tsx';
import { FoundBoards } from './setup-boards.tsx';
import { Listed } from './setup-lists.tsx';
import { AddPart } from './setup-parts-add.tsx';
import {
  apply,
  canWrite,
  file,
  load,
  problem,
  review,
  said,
  section,
  undo,
} from './setup-parts-data.ts';
import {
  ChannelPart,
  GroupPart,
  PosePart,
  RailPart,
  SensePart,
  WirePart,
} from './setup-parts-entry.tsx';
import { wireEntries } from './setup-parts-wires.ts';
import { holding, version } from './store.ts';

const text = signal('');
/** What is open: `channel beak`. */
const open = signal('');
/** A list longer than this can be searched. */
const LONG = 12;

/** Everything that the prop is made of: shown, added, renamed, moved, removed. */
export function Parts() {
  useSignalEffect(() => {
    // Another version, or one that waits.
    version.value;
    fileNews.value;
    if (linkState.value === 'open') void load();
  });
  if (!file.value) return <p class="sheet">{problem.value || 'The prop file is being read …'}</p>;
  return (
    <div class="parts">
      <Top />
      <Review />
      <AddPart />
      <FoundBoards />
      <Lists />
    </div>
  );
}

/** What was said last keeps its place: nothing shifts when it comes. */
function Top() {
  const change = undoable(file.value?.version);
  return (
    <section class="sheet parts-top" aria-label="What was done">
      <p role="status" class="parts-said">
        {problem.value ||
          said.value ||
          (holding.value
            ? 'Open a part to see and change it.'
            : 'You can look at everything. To change something, first take control: the first button at the bottom.')}
      </p>
      {fileNews.value?.kind === 'waits' && (
        <p class="caution">The changed file waits until the prop is parked.</p>
      )}
      <div class="row">
        <Act can={change !== undefined && canWrite.value} onAct={() => void undo()}>
          {change ? `Undo: ${change.what}` : 'Undo'}
        </Act>
      </div>
    </section>
  );
}

/** What a change takes; nothing is written before somebody agrees. */
function Review() {
  const asked = review.value;
  const head = useRef<HTMLHeadingElement>(null);
  const id = useId();
  useEffect(() => {
    if (!asked) return;
    head.current?.focus();
    head.current?.scrollIntoView({ block: 'start' });
  }, [asked]);
  if (!asked) return null;
  const { title, plan: planned } = asked;
  const { touches, reasons, cautions, findings, waits, edits } = planned;
  return (
    <section class="sheet parts-review" aria-labelledby={id}>
      <h2 id={id} tabIndex={-1} ref={head}>
        {title}
      </h2>
      <Listed title="It also changes" items={touches} />
      {reasons.length > 0 && (
        <>
          <h3>Proposed</h3>
          <ul>
            {reasons.map(({ what, value, why }) => (
              <li key={what}>
                {what}
                {value && (
                  <>
                    : <strong>{value}</strong>
                  </>
                )}{' '}
                <span class="soft">({why})</span>
              </li>
            ))}
          </ul>
        </>
      )}
      {cautions.map((caution) => (
        <p key={caution} class="caution">
          {caution}
        </p>
      ))}
      <Listed title="The check will say" items={findings.map(({ message }) => message)} />
      {waits && <p>It waits until the prop is parked.</p>}
      <div class="row">
        <button
          type="button"
          onClick={() => {
            review.value = undefined;
          }}
        >
          Cancel
        </button>
        <Act
          class="primary"
          can={canWrite.value}
          onAct={() => void apply(title, edits as never, planned.version)}
        >
          {holding.value ? 'Change it' : 'Take control first'}
        </Act>
      </div>
    </section>
  );
}

function Lists() {
  const wires = wireEntries(file.value!.data);
  const channels = Object.keys(section('channels'));
  const all = [channels, Object.keys(section('rails')), wires].some((one) => one.length > LONG);
  return (
    <>
      {all && (
        <search class="sheet">
          <SearchField text={text} most={100} />
        </search>
      )}
      <List title="Channels" what="channel" names={channels} Shown={ChannelPart} />
      <List title="Rails" what="rail" names={Object.keys(section('rails'))} Shown={RailPart} />
      <List
        title="Measured"
        what="sense"
        names={Object.keys(section('senses'))}
        Shown={SensePart}
      />
      <List title="Groups" what="group" names={Object.keys(section('groups'))} Shown={GroupPart} />
      <List title="Poses" what="pose" names={Object.keys(section('poses'))} Shown={PosePart} />
      <List
        title="Wires"
        what="wire"
        names={wires.map(({ label }) => label)}
        about={Object.fromEntries(wires.map(({ label, about }) => [label, about]))}
        Shown={WirePart}
      />
    </>
  );
}

interface ListProps {
  title: string;
  what: string;
  names: string[];
  about?: Record<string, string>;
  Shown: (props: { name: string; place: number; of: number }) => ComponentChildren;
}

function List({ title, what, names, about = {}, Shown }: ListProps) {
  const shut = useSignal(what === 'wire');
  const wanted = text.value.trim().toLowerCase();
  const found = names.filter((name) =>
    `${name} ${about[name] ?? ''}`.toLowerCase().includes(wanted),
  );
  if (names.length === 0 || found.length === 0) return null;
  const isShut = shut.value && wanted === '';
  return (
    <section class="sheet" aria-label={title}>
      <h2>
        <button
          type="button"
          class="parts-head"
          aria-expanded={!isShut}
          onClick={() => {
            shut.value = !shut.value;
          }}
        >
          {title} <span class="soft">{names.length}</span>
        </button>
      </h2>
      {!isShut && (
        <ul class="parts-list">
          {found.map((name) => (
            <li key={name}>
              <button
                type="button"
                class="parts-name"
                aria-expanded={open.value === `${what} ${name}`}
                onClick={() => {
                  const key = `${what} ${name}`;
                  open.value = open.value === key ? '' : key;
                }}
              >
                {name} <span class="soft">{about[name]}</span>
              </button>
              {open.value === `${what} ${name}` && (
                <Shown name={name} place={names.indexOf(name)} of={names.length} />
              )}
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}
