import { type ReadonlySignal, useComputed, useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { placed } from './cells.ts';
import { isBig } from './find-channels.ts';
import { KINDS } from './kinds.tsx';
import { showMoving } from './overview-big.tsx';
import { paced } from './pace.ts';
import { isUnknown } from './standing.ts';
import { channels, known, moving, stateOf } from './store.ts';

/** As in overview-big.css: the least width of a cell, the space between two, and its height (rem). */
const CELL_REM = { width: 10, gap: 0.75, height: 1.4 };

/**
 * What moves now, in short cells that never scroll away. Its height is fixed and each channel keeps its
 * cell, so that nothing else shifts; a channel that has come to rest is still shown, softly, until its cell
 * is needed.
 */
export function MovingNow() {
  if (!isBig(channels.value)) return null;
  return <Cells />;
}

function Cells() {
  const box = useRef<HTMLDivElement>(null);
  const room = useSignal(4);
  useEffect(() => {
    const measure = () => {
      const rem = Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
      const { clientWidth, clientHeight } = box.current!;
      const columns = (clientWidth / rem + CELL_REM.gap) / (CELL_REM.width + CELL_REM.gap);
      const rows = Math.round(clientHeight / rem / CELL_REM.height);
      room.value = Math.max(1, Math.floor(columns)) * Math.max(1, rows);
    };
    const observer = new ResizeObserver(measure);
    observer.observe(box.current!);
    return () => observer.disconnect();
  }, []);
  const held = useRef<string[]>([]);
  // The last cell counts them.
  const places = room.value - 1;
  held.current = placed(held.current, moving.value, places);
  const now = moving.value.length;
  const rests = known.value ? 'Nothing moves' : '';
  const cells = Array.from({ length: places }, (_, i) => held.current[i]);
  return (
    <div class="moving-now" ref={box}>
      {cells.map((name, i) => {
        const info = name === undefined ? undefined : channels.value[name];
        if (info) return <Cell key={`${i} ${name}`} name={name!} info={info} />;
        return (
          <span key={`${i}`} class="soft">
            {i === 0 && 'What moves is shown here.'}
          </span>
        );
      })}
      {now > 0 ? (
        <button type="button" class="moving-all" onClick={showMoving}>
          {now} {now === 1 ? 'moves' : 'move'}: list
        </button>
      ) : (
        <span class="moving-none">{held.current.length > 0 && rests}</span>
      )}
    </div>
  );
}

function Cell({ name, info }: { name: string; info: ChannelInfo }) {
  const state = useComputed(() => paced(stateOf(name)));
  const { level } = KINDS[info.kind];
  const text = useComputed(() => (isUnknown(state.value) ? 'unknown' : level(state.value.value!)));
  const cell: ReadonlySignal<string> = useComputed(() =>
    state.value.flags.includes('moving') ? 'cell is-moving' : 'cell',
  );
  return (
    <span class={cell}>
      <span class="cell-name">{name}</span> <span class="cell-value number">{text}</span>
    </span>
  );
}
