import type { Event } from '../rehearsal/rehearse.ts';
import { briefly } from '../shared/journal.ts';
import { tidy } from '../shared/units.ts';
import { type Axis, xOf } from './axis.tsx';
import { brokenUp } from './chart.tsx';
import { px } from './px.ts';

const MAX_EVENTS_SHOWN = 12;

/** Events at the same place on the axis share a mark. */
interface EventMark {
  x: number;
  first: number;
  last: number;
}

/** The marks of events, and their places. */
export function eventMarks(events: readonly Event[], axis: Axis): EventMark[] {
  const marks: EventMark[] = [];
  events.forEach(({ tS }, i) => {
    const x = xOf(axis, tS);
    const before = marks.at(-1);
    if (before && x - 26 < before.x + label(before).width / 2) before.last = i + 1;
    else marks.push({ x, first: i + 1, last: i + 1 });
  });
  return marks;
}

/** The numbers of the events above the lanes. */
export function EventMarks(props: { marks: readonly EventMark[]; axis: Axis; y: number }) {
  const { marks, axis, y } = props;
  return (
    <g>
      <text x={axis.left - 32} y={px(y + 12)} text-anchor="end" class="soft">
        events
      </text>
      {marks.map((mark) => {
        const { text, width } = label(mark);
        return (
          <g key={mark.first}>
            <rect
              class="event"
              x={px(mark.x - width / 2)}
              y={px(y)}
              width={px(width)}
              height={16}
              rx={8}
            />
            <text x={mark.x} y={px(y + 12)} text-anchor="middle" class="on-event num">
              {text}
            </text>
          </g>
        );
      })}
    </g>
  );
}

/** Width of an event's mark, and its text. */
function label({ first, last }: EventMark): { text: string; width: number } {
  const text = first === last ? `${first}` : `${first}-${last}`;
  return { text, width: Math.max(16, text.length * 6 + 10) };
}

/** The first events in words, and a line that counts the others. */
export function eventLines(events: readonly Event[]): { shown: string[]; more: string[] } {
  const shown = events
    .slice(0, MAX_EVENTS_SHOWN)
    .flatMap((event, i) =>
      brokenUp(`${i + 1}.  ${tidy(event.tS)} s  ${where(event)}${briefly(event)}`),
    );
  const more = events.length - MAX_EVENTS_SHOWN;
  return { shown, more: more > 0 ? [`and ${more} more`] : [] };
}

function where({ cue, step }: Event): string {
  return cue === undefined || step === undefined ? '' : `${cue}, step ${step + 1}: `;
}
