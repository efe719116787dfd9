import { useSignal } from '@preact/signals';
import { useLayoutEffect, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { inOrder, moved } from './show-order.ts';
import { keepOrder, showOrder } from './show-store.ts';

const ARROWS = [
  [-1, 'up', '↑'],
  [1, 'down', '↓'],
] as const;

/** The order of the cues, to be changed by touch, mouse and keys; meanwhile nothing here runs a cue. */
export function OrderEditor({ cues, onDone }: { cues: string[]; onDone: () => void }) {
  const list = inOrder(cues, showOrder.value);
  const said = useSignal('');
  const rows = useRef<HTMLOListElement>(null);
  /** The handle that a key has moved keeps the focus in its new place. */
  const focus = useRef('');
  useLayoutEffect(() => {
    if (!focus.current) return;
    rows.current
      ?.querySelector<HTMLElement>(`[data-focus="${CSS.escape(focus.current)}"]`)
      ?.focus();
    focus.current = '';
  });
  const put = (name: string, to: number) => {
    const order = moved(list, name, to);
    keepOrder({ order });
    said.value = `${name} is now ${order.indexOf(name) + 1} of ${order.length}.`;
  };
  const leave = (name: string, out: boolean) =>
    keepOrder({
      order: list,
      leftOut: out
        ? [...showOrder.peek().leftOut, name]
        : showOrder.peek().leftOut.filter((one) => one !== name),
    });
  /** What is dragged. The list has the pointer: a row that is put elsewhere would lose it. */
  const dragged = useRef('');
  const drag = (event: PointerEvent) => {
    const name = dragged.current;
    if (!name) return;
    const places = [...(rows.current?.children ?? [])].map((row) => row.getBoundingClientRect());
    const at = places.findIndex(({ bottom }) => event.clientY < bottom);
    const to = at === -1 ? list.length - 1 : at;
    if (to !== list.indexOf(name)) put(name, to);
  };
  return (
    <section class="show-editor" aria-labelledby="show-order">
      <div class="show-head">
        <h2 id="show-order">Order of the show</h2>
        <button type="button" class="primary" onClick={onDone}>
          Done
        </button>
      </div>
      <p class="hint">
        Drag a cue by its handle, or use the arrows. The order is kept in this browser. Nothing runs
        from here.
      </p>
      <ol
        class="show-rows"
        ref={rows}
        onPointerMove={drag}
        onLostPointerCapture={() => {
          dragged.current = '';
        }}
      >
        {list.map((name, at) => {
          const out = showOrder.value.leftOut.includes(name);
          const step = (by: number, key: string) => {
            focus.current = key;
            put(name, at + by);
          };
          return (
            <li key={name} class={out ? 'is-out' : ''}>
              <button
                type="button"
                class="show-handle"
                data-focus={`handle ${name}`}
                aria-label={`Move ${name}: drag it, or use the up and down keys`}
                onPointerDown={(event) => {
                  dragged.current = name;
                  rows.current?.setPointerCapture(event.pointerId);
                }}
                onKeyDown={(event) => {
                  const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
                  if (by === undefined) return;
                  event.preventDefault();
                  step(by, `handle ${name}`);
                }}
              >
                <span aria-hidden="true">☰</span>
              </button>
              <span class="show-name">{name}</span>
              {ARROWS.map(([by, word, sign]) => (
                <Act
                  key={word}
                  data-focus={`${word} ${name}`}
                  aria-label={`Move ${name} ${word}`}
                  can={list[at + by] !== undefined}
                  onAct={() => step(by, `${word} ${name}`)}
                >
                  <span aria-hidden="true">{sign}</span>
                </Act>
              ))}
              <label class="show-in">
                <input
                  type="checkbox"
                  checked={!out}
                  aria-label={`${name} is in the show`}
                  onChange={(event) => leave(name, !event.currentTarget.checked)}
                />{' '}
                <span aria-hidden="true">in</span>
              </label>
            </li>
          );
        })}
      </ol>
      <p>
        <button type="button" onClick={() => keepOrder({ order: [], leftOut: [] })}>
          As in the prop file
        </button>
      </p>
      <p role="status" class="unseen">
        {said}
      </p>
    </section>
  );
}
