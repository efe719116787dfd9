import { changes, closures, stops, timeSeriesOf } from '../drawings/track.ts';
import { railFigures } from '../drawings/words.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import type { Rehearsal, TogetherTrack, Track } from '../rehearsal/rehearse.ts';
import { tidy } from '../shared/units.ts';
import { columns, type TimeSeries } from '../sums/time-series.ts';
import { aligned } from './output.ts';

const PLOT_COLUMNS = 60;
/** Stops of a colour's way that are written out. */
const MAX_STOPS = 6;

/** From low to high. */
const BLOCKS = '▁▂▃▄▅▆▇█';
const ASCII = '_.,-=+*#';

/** Whether the terminal shows more than ASCII, by POSIX's order of the locale's variables. */
export function showsUnicode(env: Record<string, string | undefined>): boolean {
  return /utf-?8/i.test(env.LC_ALL || env.LC_CTYPE || env.LANG || '');
}

/** The rehearsal for the terminal: a small plot of everything that changes, and its figures. */
export function rehearsalText(rehearsal: Rehearsal, prop: string, unicode: boolean): string {
  const { cue, durationS, cutShort, tracks, rails, light } = rehearsal;
  const arrow = unicode ? '→' : '->';
  const moving = tracks.filter(changes);
  const plot = (series: TimeSeries, low: number, high: number): string => {
    const levels = unicode ? BLOCKS : ASCII;
    return columns(series, durationS, PLOT_COLUMNS)
      .map(({ far }) => levels[Math.round(((far - low) / (high - low)) * (levels.length - 1))])
      .join('');
  };
  const rows = moving.map((track) => {
    const series = timeSeriesOf(track);
    const isAngle = kindOf(track).value === 'deg';
    const { low, high } = isAngle ? extent(series.value) : { low: 0, high: 1 };
    return [track.name, plot(series, low, high), figures(track, arrow)];
  });
  const railRows = rails.map((rail) => {
    const top = Math.max(rail.limitA, rail.peakA);
    return [rail.name, plot({ tS: rail.tS, value: rail.amps }, 0, top), railFigures(rail)];
  });
  const still = tracks.filter((track) => !changes(track)).map(({ name }) => name);
  const end = `${tidy(durationS)} s`;
  const head = [
    `${prop}, cue ${cue}: ${cutShort ? `goes on until stopped: first ${end}` : end}`,
    ...(rows.length === 0 ? ['nothing changes'] : []),
  ];
  const ruler = ['', `0 s${end.padStart(PLOT_COLUMNS - 3)}`, ''];
  const lines = aligned([ruler, ...rows, ...railRows]);
  const together = togetherFigures(light);
  if (together !== undefined) lines.push('', together);
  if (still.length > 0) lines.push('', `as they were: ${still.join(', ')}`);
  return [...head, '', ...lines].join('\n');
}

function extent(values: readonly number[]): { low: number; high: number } {
  let low = values[0]!;
  let high = low;
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return { low, high };
}

function figures(track: Track, arrow: string): string {
  const { value, onS = 0 } = track;
  const type = kindOf(track).value;
  if (type === 'deg') {
    const numbers = value as number[];
    const { low, high } = extent(numbers);
    const ends = `${tidy(numbers[0]!, 2)} ${arrow} ${tidy(numbers.at(-1)!, 2)} deg`;
    return `${ends}, between ${tidy(low, 2)} and ${tidy(high, 2)}`;
  }
  if (type === 'on') {
    const times = closures(track);
    return `closes ${times === 1 ? 'once' : `${times} times`}, ${tidy(onS)} s in all`;
  }
  const way = stops(track).map((stop) => (typeof stop === 'number' ? `${tidy(stop)}` : stop));
  const shown = way.length > MAX_STOPS ? [...way.slice(0, MAX_STOPS - 1), '...', way.at(-1)!] : way;
  const text = shown.join(` ${arrow} `);
  return type === 'volume' ? text : `${text}, ${flashes(track)}`;
}

function flashes({ flashes: general = 0, redFlashes: red = 0 }: Track): string {
  return flashesInWords(general, red, 'red flash');
}

function flashesInWords(general: number, other: number, otherName: string): string {
  const count = (number: number, what: string) =>
    `${number} ${what}${number === 1 ? '' : 'es'} in a second`;
  const parts = [
    ...(general > 0 ? [count(general, 'flash')] : []),
    ...(other > 0 ? [count(other, otherName)] : []),
  ];
  return parts.join(', ') || 'no flash';
}

/** What all light together does; undefined when there is nothing to say. */
function togetherFigures(light: TogetherTrack): string | undefined {
  const { plannedFlashes, plannedColourFlashes } = light;
  const planned = flashesInWords(plannedFlashes, plannedColourFlashes, 'colour flash');
  if (planned === 'no flash') return undefined;
  const held = plannedFlashes > light.flashes || plannedColourFlashes > light.colourFlashes;
  const shown = flashesInWords(light.flashes, light.colourFlashes, 'colour flash');
  return `all light together: ${held ? `${planned} as planned, held to ${shown}` : planned}`;
}
