import { useComputed } from '@preact/signals';
import type { HTMLAttributes } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { degText } from './bench-moves.ts';
import {
  armed,
  following,
  grip,
  gripOf,
  letGo,
  placeNow,
  rangeFor,
  usable,
} from './cues-perform-data.ts';
import { ledKeys } from './cues-perform-hands.ts';
import { degAt, type Led, placeAt, placeOfDrag } from './cues-perform-map.ts';
import type { HeldKeys } from './held-keys.ts';
import { stateOf } from './store.ts';

/** Held by one finger, mouse or pen: taken by the middle of the control, wherever it goes down. */
interface Drag {
  pointerId: number;
  x: number;
  y: number;
  /** Places at the beginning, by channel. */
  places: Map<string, number>;
}

interface DragControl {
  /** The servos that it leads, each by its way across or up. */
  across: readonly Led[];
  up: readonly Led[];
}

/** What makes an element lead servos while it is dragged; a tap alone moves nothing. */
function useDrag({ across, up }: DragControl): HTMLAttributes<HTMLDivElement> {
  const drag = useRef<Drag | undefined>(undefined);
  const all = [...across, ...up];
  const release = () => {
    if (!drag.current) return;
    drag.current = undefined;
    for (const { channel } of all) letGo(channel);
  };
  return {
    onPointerDown: (event) => {
      if (event.button !== 0 || drag.current || !armed.peek()) return;
      const { pointerId, clientX: x, clientY: y, currentTarget } = event;
      currentTarget.setPointerCapture(pointerId);
      const places = new Map(all.map((one) => [one.channel, placeNow(one)]));
      drag.current = { pointerId, x, y, places };
      for (const [channel, place] of places) grip(channel, place);
    },
    onPointerMove: (event) => {
      const now = drag.current;
      if (now?.pointerId !== event.pointerId) return;
      const { width, height } = event.currentTarget.getBoundingClientRect();
      for (const { channel } of across) {
        if (gripOf(channel) === undefined) continue;
        grip(channel, placeOfDrag(now.places.get(channel)!, event.clientX - now.x, width));
      }
      for (const { channel } of up) {
        if (gripOf(channel) === undefined) continue;
        grip(channel, placeOfDrag(now.places.get(channel)!, now.y - event.clientY, height));
      }
    },
    onPointerUp: release,
    onPointerCancel: release,
    onLostPointerCapture: release,
    onContextMenu: (event) => event.preventDefault(),
  };
}

/** Arrow keys that are held lead on; let go, or with the focus gone, it holds. */
function useArrows({ across, up }: DragControl): HTMLAttributes<HTMLDivElement> {
  const held = useRef<HeldKeys | undefined>(undefined);
  held.current ??= ledKeys();
  const keys = held.current;
  useEffect(() => () => keys.releaseAll(), [keys]);
  const upward = up.length > 0 ? up : across;
  return {
    onKeyDown: (event) => {
      if (event.altKey || event.ctrlKey || event.metaKey) return;
      const isAcross = event.key === 'ArrowLeft' || event.key === 'ArrowRight';
      if (!isAcross && event.key !== 'ArrowDown' && event.key !== 'ArrowUp') return;
      event.preventDefault();
      if (event.repeat || !armed.peek()) return;
      const isHigh = event.key === 'ArrowRight' || event.key === 'ArrowUp';
      const channels = (isAcross ? across : upward).map(({ channel }) => channel);
      keys.press(event.code, { channels, way: isHigh ? 1 : -1 });
    },
    onKeyUp: (event) => keys.release(event.code),
    onBlur: () => keys.releaseAll(),
  };
}

/** A line to drag along, for one servo. */
export function Slider({ one }: { one: Led }) {
  const { channel } = one;
  const control = { across: [one], up: [] };
  const drag = useDrag(control);
  const arrows = useArrows(control);
  const standing = useComputed(() => standingOf(one));
  const asked = useComputed(() => askedOf(one));
  const [from, to] = rangeFor(one);
  return (
    <div
      class="lead-slider"
      role="slider"
      tabIndex={0}
      aria-label={`Lead ${channel}`}
      aria-disabled={!armed.value}
      aria-valuemin={from}
      aria-valuemax={to}
      aria-valuenow={degAt(standing.value, [from, to], one.turned)}
      aria-valuetext={degText(degAt(standing.value, [from, to], one.turned))}
      aria-describedby="lead-how"
      {...drag}
      {...arrows}
    >
      <span class="lead-line" />
      <span class="lead-asked" style={{ left: `${100 * asked.value}%` }} />
      <span class="lead-stands" style={{ left: `${100 * standing.value}%` }} />
    </div>
  );
}

/** A field to drag about, for servos that go across and others that go up and down. */
export function Pad() {
  const across = usable.value.filter(({ by }) => by === 'pad-across');
  const up = usable.value.filter(({ by }) => by === 'pad-up');
  const control = { across, up };
  const drag = useDrag(control);
  const arrows = useArrows(control);
  const [x, y] = [across[0], up[0]];
  return (
    <div class="lead-pad-box">
      <div
        class="lead-pad"
        role="application"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: the arrow keys work while it has the focus
        tabIndex={0}
        aria-label={`Pad: ${across.map(({ channel }) => channel).join(', ') || 'nothing'} across, ${up.map(({ channel }) => channel).join(', ') || 'nothing'} up and down`}
        aria-disabled={!armed.value}
        aria-describedby="lead-how"
        {...drag}
        {...arrows}
      >
        <Spot x={x} y={y} />
      </div>
      <p class="hint">
        {across.length > 0 && <>Across: {across.map(({ channel }) => channel).join(', ')}. </>}
        {up.length > 0 && <>Up and down: {up.map(({ channel }) => channel).join(', ')}.</>}
      </p>
    </div>
  );
}

function Spot({ x, y }: { x: Led | undefined; y: Led | undefined }) {
  const at = useComputed(() => ({
    left: x ? standingOf(x) : 0.5,
    up: y ? standingOf(y) : 0.5,
  }));
  const asked = useComputed(() => ({ left: x ? askedOf(x) : 0.5, up: y ? askedOf(y) : 0.5 }));
  const style = ({ left, up }: { left: number; up: number }) => ({
    left: `${100 * left}%`,
    top: `${100 - 100 * up}%`,
  });
  return (
    <>
      <span class="lead-asked is-spot" style={style(asked.value)} />
      <span class="lead-stands is-spot" style={style(at.value)} />
    </>
  );
}

/** Where a servo stands now, on its control (0 to 1). */
function standingOf(one: Led): number {
  return placeAt(Number(stateOf(one.channel).value.value), rangeFor(one), one.turned);
}

/** Where it was asked to go (0 to 1); where it stands while nothing leads it. */
function askedOf(one: Led): number {
  const now = following.value[one.channel];
  if (!now) return standingOf(one);
  return placeAt(now.value + now.behindDeg, rangeFor(one), one.turned);
}
