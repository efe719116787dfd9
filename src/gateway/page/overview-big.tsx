import './overview-big.css';
import { computed, signal, useComputed, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import type { BoardInfo } from '../../api/types.ts';
import { favourites, folds } from './big-choices.ts';
import {
  FILTERS,
  type Filter,
  isFound,
  passes,
  placesOf,
  type Section,
  sectionsOf,
} from './find-channels.ts';
import { KINDS } from './kinds.tsx';
import { call } from './link.ts';
import { FlashCaution } from './overview-light.tsx';
import { CommandSet, whyNot } from './overview-parts.tsx';
import { Row } from './overview-row.tsx';
import { refusedChannels } from './refused-channels.ts';
import { channels, frames, groups, moving, stateOf, version } from './store.ts';

/** Sections of a prop that is seen on a narrow screen begin folded: so many rows are many screens. */
const NARROW = '(max-width: 47.99rem)';

const text = signal('');
const filter = signal<Filter | undefined>(undefined);
const boards = signal<Record<string, BoardInfo>>({});
const places = computed(() => placesOf(boards.value));

/** Shows what moves, at the top of the list. */
export function showMoving(): void {
  text.value = '';
  filter.value = 'moving';
  document.getElementById('big-tools')?.scrollIntoView({ block: 'nearest' });
}

/** The names that pass each filter; the same object for as long as they are the same. */
let last: Record<Filter, readonly string[]> = { moving: [], refused: [], away: [], lost: [] };
const passing = computed(() => {
  frames.value;
  const refused = refusedChannels.value;
  const next = { moving: [], refused: [], away: [], lost: [] } as Record<Filter, string[]>;
  for (const [name, info] of Object.entries(channels.value)) {
    const state = stateOf(name).peek();
    for (const one of Object.keys(FILTERS) as Filter[])
      if (passes(one, info, state, refused.has(name), hexOf)) next[one].push(name);
  }
  if (JSON.stringify(next) !== JSON.stringify(last)) last = next;
  return last;
});

/** A CSS colour as `#rrggbb`; undefined where the canvas writes it in another way. */
const hexOf = (css: string): string | undefined => {
  let hex = hexes.get(css);
  if (hex === undefined) {
    const canvas = document.createElement('canvas').getContext('2d')!;
    canvas.fillStyle = css;
    hex = String(canvas.fillStyle);
    hexes.set(css, hex);
  }
  return hex.startsWith('#') ? hex : undefined;
};
const hexes = new Map<string, string>();

/** The channels of a large prop: search, filters, and short rows in sections that fold. */
export function BigChannels({
  groupControls,
}: {
  /** What moves a whole group. */
  groupControls: (group: string) => ComponentChildren;
}) {
  const place = useRef<{ button: HTMLElement; top: number } | undefined>(undefined);
  const star = (channel: string, button: HTMLElement) => {
    place.current = { button, top: button.getBoundingClientRect().top };
    favourites.set(channel, favourites.made.peek().has(channel) ? undefined : true);
  };
  const starred = favourites.made.value;
  // Another row at the top must not move the star away from under the finger.
  useLayoutEffect(() => {
    if (!place.current) return;
    const { button, top } = place.current;
    place.current = undefined;
    if (button.isConnected) scrollBy(0, button.getBoundingClientRect().top - top);
  }, [starred]);
  const isSought = text.value.trim() !== '' || filter.value !== undefined;
  return (
    <section class="sheet big" aria-labelledby="big-channels">
      <h2 id="big-channels" class="unseen">
        Channels
      </h2>
      <Tools />
      {isSought ? (
        <Found onStar={star} />
      ) : (
        <Sections onStar={star} groupControls={groupControls} />
      )}
    </section>
  );
}

function Tools() {
  return (
    <div class="big-tools" id="big-tools">
      <div class="big-search">
        <input
          type="search"
          aria-label="Search channels"
          placeholder="name, group, wire, GPIO 18, pin 12"
          autocomplete="off"
          spellcheck={false}
          value={text}
          onFocus={() => void loadBoards()}
          onInput={(event) => {
            text.value = event.currentTarget.value;
          }}
        />
        <button
          type="button"
          disabled={text.value === ''}
          onClick={() => {
            text.value = '';
          }}
        >
          Clear
        </button>
      </div>
      <fieldset class="big-filters">
        <legend class="unseen">Show</legend>
        <FilterButton title="All" count={() => Object.keys(channels.value).length} />
        {(Object.keys(FILTERS) as Filter[]).map((one) => (
          <FilterButton
            key={one}
            one={one}
            title={FILTERS[one]}
            count={() => passing.value[one].length}
          />
        ))}
      </fieldset>
    </div>
  );
}

let boardsOf = '';

/** Where things are connected is asked for when somebody begins to search. */
async function loadBoards(): Promise<void> {
  const now = version.peek();
  if (boardsOf === now) return;
  boardsOf = now;
  try {
    boards.value = (await call('board.list', {})).boards;
  } catch {
    // Without it pins are not found; a lost link says so by itself.
    boardsOf = '';
  }
}

function FilterButton(props: { one?: Filter; title: string; count: () => number }) {
  const { one, title, count } = props;
  const shown = useComputed(count);
  return (
    <button
      type="button"
      aria-pressed={filter.value === one}
      onClick={() => {
        filter.value = filter.peek() === one ? undefined : one;
      }}
    >
      {title} <span class="filter-count number">{shown}</span>
    </button>
  );
}

type Star = (channel: string, button: HTMLElement) => void;

/**
 * What search and filter find. While the list is open, rows come only at its end and none goes: what no
 * longer passes stays where it is, softly.
 */
function Found({ onStar }: { onStar: Star }) {
  const all = channels.value;
  const passed = filter.value && new Set(passing.value[filter.value]);
  const now = Object.entries(all).flatMap(([name, info]) => {
    if (passed && !passed.has(name)) return [];
    const { title } = KINDS[info.kind];
    const sought = { name, info, kind: title, places: places.value.get(name) ?? [] };
    return isFound(text.value, sought) ? [name] : [];
  });
  const key = `${filter.value} ${text.value} ${version.value} ${places.value.size}`;
  const list = useRef<{ key: string; names: string[] }>({ key: '', names: [] });
  if (list.current.key !== key) {
    const starred = favourites.made.peek();
    const first = now.filter((name) => starred.has(name));
    list.current = { key, names: [...first, ...now.filter((name) => !starred.has(name))] };
  } else list.current.names.push(...now.filter((name) => !list.current.names.includes(name)));
  const names = list.current.names.filter((name) => all[name]);
  const stillFound = new Set(now);
  return (
    <>
      <p class="big-count" role="status">
        {`${now.length} of ${Object.keys(all).length} channels.`} {whyNot.value}
      </p>
      {now.length === 0 && <Nothing />}
      <Rows names={names} isOver={(name) => !stillFound.has(name)} onStar={onStar} />
    </>
  );
}

interface RowsProps {
  names: readonly string[];
  /** Whether a channel no longer is what the list was made of. */
  isOver: (name: string) => boolean;
  onStar: Star;
}

function Rows({ names, isOver, onStar }: RowsProps) {
  const all = channels.value;
  return (
    <ul class="brief-rows">
      {names.map((name) => (
        <Row key={name} channel={name} info={all[name]!} over={isOver(name)} onStar={onStar} />
      ))}
    </ul>
  );
}

/** Why there is nothing in the list, and the way back. */
function Nothing() {
  const sought = text.value.trim();
  const what = filter.value && FILTERS[filter.value].toLowerCase();
  return (
    <div class="big-nothing">
      <p>
        {sought ? `No channel matches “${sought}”` : 'No channel'}
        {what ? `${sought ? ' and' : ''} is ${what} now.` : '.'}
      </p>
      <button
        type="button"
        onClick={() => {
          text.value = '';
          filter.value = undefined;
        }}
      >
        Show all channels
      </button>
    </div>
  );
}

function Sections(props: { onStar: Star; groupControls: (group: string) => ComponentChildren }) {
  const all = channels.value;
  const sections = sectionsOf(all, groups.value, (kind) => {
    const { sheet, moves } = KINDS[kind];
    return moves && Object.keys(groups.value).length > 0 ? `Other ${sheet.toLowerCase()}` : sheet;
  });
  // A star that is taken away leaves its row here until the list is opened again.
  const first = useRef<string[]>([]);
  const starred = favourites.made.value;
  for (const name of starred.keys()) if (!first.current.includes(name)) first.current.push(name);
  const names = first.current.filter((name) => all[name]);
  return (
    <>
      <div class="big-head">
        <p class="big-count" role="status">
          {`${Object.keys(all).length} channels.`} {whyNot.value}
        </p>
        <FoldAll keys={sections.map(foldKey)} />
      </div>
      {names.length > 0 && (
        <Fold section={{ title: 'Favourites', names, elsewhere: [] }} isFavourites {...props} />
      )}
      {sections.map((section) => (
        <Fold key={foldKey(section)} section={section} {...props} />
      ))}
    </>
  );
}

/** What a section is kept by: a group may be called like another section. */
const foldKey = ({ title, group }: Section) => (group === undefined ? title : `group ${group}`);

const isFolded = (key: string, startsOpen: boolean) =>
  folds.made.value.get(key) ?? (!startsOpen && matchMedia(NARROW).matches);

function FoldAll({ keys }: { keys: string[] }) {
  const anyOpen = keys.some((key) => !isFolded(key, false));
  return (
    <button
      type="button"
      onClick={() => {
        for (const key of keys) folds.set(key, anyOpen);
      }}
    >
      {anyOpen ? 'Fold all' : 'Open all'}
    </button>
  );
}

function Fold(props: {
  section: Section;
  /** Those that somebody put first, instead of a part of the prop. */
  isFavourites?: boolean;
  onStar: Star;
  groupControls: (group: string) => ComponentChildren;
}) {
  const { section, isFavourites = false, onStar, groupControls } = props;
  const { title, names, group, elsewhere } = section;
  const all = channels.value;
  const key = foldKey(section);
  const folded = isFolded(key, isFavourites);
  const moves = useSignal(false);
  const isLit = names.some((name) => all[name] && KINDS[all[name].kind].lit);
  const starred = favourites.made.value;
  return (
    <section class="fold">
      <div class="fold-head">
        <h3>
          <button type="button" aria-expanded={!folded} onClick={() => folds.set(key, !folded)}>
            <span class="fold-sign" aria-hidden="true">
              {folded ? '▸' : '▾'}
            </span>
            <span class="fold-title">{title}</span>
            <Counts names={group === undefined ? names : (groups.value[group] ?? [])} />
          </button>
        </h3>
        {group !== undefined && (
          <button
            type="button"
            class="fold-move"
            aria-label={`Move the whole group ${group}`}
            aria-expanded={moves.value}
            onClick={() => {
              moves.value = !moves.value;
            }}
          >
            Move…
          </button>
        )}
      </div>
      {group !== undefined && moves.value && (
        <CommandSet label={`Move the group ${group}`}>{groupControls(group)}</CommandSet>
      )}
      {!folded && (
        <>
          {elsewhere.length > 0 && (
            <p class="hint">
              {names.length > 0 ? 'Its other channels' : 'Its channels'} are listed under{' '}
              {elsewhere.join(', ')}.
            </p>
          )}
          {isLit && !isFavourites && <FlashCaution />}
          <Rows
            names={names}
            isOver={(name) => isFavourites && !starred.has(name)}
            onStar={onStar}
          />
        </>
      )}
    </section>
  );
}

/** How many there are, and how many of them move. */
function Counts({ names }: { names: readonly string[] }) {
  const move = useComputed(() => {
    const now = new Set(moving.value);
    const count = names.filter((name) => now.has(name)).length;
    return count === 0 ? '' : `${count} ${count === 1 ? 'moves' : 'move'}`;
  });
  return (
    <span class="fold-counts number">
      <span class="fold-moves">{move}</span> {names.length}
    </span>
  );
}
