import { maintainText } from '../api/maintain.ts';
import type { WearCounts, WearInfo } from '../api/types.ts';
import { table, UsageError } from './output.ts';
import { verb } from './verb.ts';

export const wearVerb = verb<{ action?: 'done'; channel?: string; note?: string }>({
  name: 'wear',
  summary: 'what has worn each channel; "wear done CHANNEL" notes that it was maintained',
  where: 'both',
  args: [
    { name: 'action', doc: 'done: it was maintained', choices: ['done'], optional: true },
    { name: 'channel', doc: 'name of a channel', names: 'channel', optional: true },
  ],
  options: [{ flags: '--note <TEXT>', doc: 'what was done, such as "new horn, greased"' }],
  async run({ action, channel, note }, operator) {
    if (action === 'done') {
      if (channel === undefined) throw new UsageError('name the channel: sinew wear done beak');
      await operator.lease();
      const result = await operator.call('wear.done', { channel, note });
      const text = `${channel}: maintained by ${result.who}${result.note ? `, ${result.note}` : ''}`;
      return { result, text };
    }
    const result = await operator.call('wear.read', {});
    const dueFirst = result.channels.toSorted((a, b) => Number(b.due ?? 0) - Number(a.due ?? 0));
    const rows = dueFirst.map((info) => [
      info.gone === undefined ? info.name : `${info.name} (removed ${info.gone.slice(0, 10)})`,
      ...cells(info.counts),
      driftText(info),
      dueText(info),
      doneText(info),
    ]);
    const head = ['channel', 'cycles', 'travel deg', 'starts', 'on h', 'pushing s', 'closures'];
    const text = table([...head, 'light h', 'drift deg', 'maintain at', 'maintained'], rows);
    return { result, text: `counted since ${result.since.slice(0, 10)}\n${text}` };
  },
});

function cells(counts: WearCounts): string[] {
  const { cycles, travelDeg, starts, onS, pushingS, closures, lightS } = counts;
  const hours = (s: number) => (s === 0 ? '' : (s / 3600).toFixed(2));
  const number = (value: number) => (value === 0 ? '' : String(Math.round(value)));
  return [
    ...[number(cycles), number(travelDeg), number(starts), hours(onS)],
    ...[number(pushingS), number(closures), hours(lightS)],
  ];
}

/** Of a servo whose angle is measured: at rest, since its record began. */
function driftText({ drift }: WearInfo): string {
  if (!drift) return '';
  const { byDeg, days } = drift;
  return `${byDeg > 0 ? '+' : ''}${byDeg.toFixed(1)} since ${days[0]!.day}`;
}

function dueText({ maintain, due }: WearInfo): string {
  return `${due ? 'DUE: ' : ''}${maintainText(maintain ?? [])}`;
}

function doneText({ done, sinceDone }: WearInfo): string {
  if (!done || !sinceDone) return '';
  const since = sinceDone.closures > 0 ? `${Math.round(sinceDone.closures)} closures` : '';
  const cycles = sinceDone.cycles > 0 ? `${Math.round(sinceDone.cycles)} cycles` : since;
  const hours = `${(sinceDone.onS / 3600).toFixed(1)} h`;
  const note = done.note ? ` (${done.note})` : '';
  return `${done.time.slice(0, 10)} by ${done.who}${note}; since: ${cycles ? `${cycles}, ` : ''}${hours}`;
}
