import type { FastifyPluginAsync } from 'fastify';
import type { SenseState } from '../../api/types.ts';
import type { SenseKind } from '../../prop/schema.ts';
import { CONDITIONS } from '../../shared/condition.ts';
import { LATENESS_MS } from '../../shared/telemetry.ts';
import type { Traffic } from '../dispatch.ts';
import type { Sessions } from '../sessions.ts';
import type { View } from '../state.ts';

interface Options {
  view: View;
  sessions: Sessions;
  traffic: Traffic;
}

type Labels = Record<string, string>;
type Sample = [labels: Labels, value: number];

/** Label values escape backslash, double quote and line feed (OpenMetrics 1.0, "Escaping"). */
function labelText(labels: Labels): string {
  const pairs = Object.entries(labels).map(([name, value]) => {
    const escaped = value.replaceAll('\\', '\\\\').replaceAll('"', '\\"').replaceAll('\n', '\\n');
    return `${name}="${escaped}"`;
  });
  return pairs.length > 0 ? `{${pairs.join(',')}}` : '';
}

/** One metric family. A counter's samples carry `_total`; a unit is the end of the name. */
function family(
  name: string,
  type: 'counter' | 'gauge' | 'stateset',
  help: string,
  samples: Sample[],
  unit?: string,
): string {
  const suffix = type === 'counter' ? '_total' : '';
  return [
    `# TYPE ${name} ${type}`,
    ...(unit ? [`# UNIT ${name} ${unit}`] : []),
    `# HELP ${name} ${help}`,
    ...samples.map(([labels, value]) => `${name}${suffix}${labelText(labels)} ${value}`),
  ].join('\n');
}

/** How late ticks began, as a histogram: each class counts what is in those below it as well. */
function lateness(counts: readonly number[]): string {
  const name = 'sinew_tick_lateness_seconds';
  let sum = 0;
  const buckets = counts.map((count, i) => {
    sum += count;
    const le = i < LATENESS_MS.length ? (LATENESS_MS[i]! / 1000).toPrecision(4) : '+Inf';
    return `${name}_bucket{le="${le}"} ${sum}`;
  });
  return [
    `# TYPE ${name} histogram`,
    `# UNIT ${name} seconds`,
    `# HELP ${name} Time from when a tick of the core was due until it began.`,
    ...buckets,
    `${name}_count ${sum}`,
  ].join('\n');
}

/** The families of what is measured, each with its unit; none for a prop without senses. */
const SENSE_FAMILIES: readonly [kind: SenseKind, name: string, help: string, unit?: string][] = [
  ['current', 'sinew_sense_amperes', 'Measured current.', 'amperes'],
  ['volts', 'sinew_sense_volts', 'Measured voltage.', 'volts'],
  ['position', 'sinew_sense_degrees', 'Measured angle.', 'degrees'],
  ['level', 'sinew_sense_level_ratio', 'Measured level, 0 to 1.', 'ratio'],
  ['contact', 'sinew_sense_closed', 'Whether a contact is closed.'],
];

/** A sense that is not measured has no value: a gap, and 0 in `sinew_sense_measured`. */
function senseFamilies(view: View): string[] {
  const { senses: infos = [] } = view.prop;
  if (infos.length === 0) return [];
  const states = view.senses();
  const values = SENSE_FAMILIES.flatMap(([kind, name, help, unit]) => {
    const samples = infos.flatMap((info): Sample[] => {
      const value = states[info.name]?.value ?? null;
      return info.kind === kind && value !== null ? [[{ sense: info.name }, value]] : [];
    });
    return samples.length > 0 ? [family(name, 'gauge', help, samples, unit)] : [];
  });
  const each = (of: (state: SenseState) => unknown) =>
    infos.map(({ name }): Sample => [{ sense: name }, Number(Boolean(of(states[name]!)))]);
  const limits = infos.flatMap(({ name, limits: at }) =>
    Object.entries(at).map(([limit, value]): Sample => [{ sense: name, limit }, value]),
  );
  const ofRails = (what: 'measuredA' | 'measuredV') =>
    Object.entries(view.rails()).flatMap(([rail, state]): Sample[] => {
      const value = state[what];
      return value === undefined ? [] : [[{ rail }, value]];
    });
  return [
    ...values,
    family(
      'sinew_sense_measured',
      'gauge',
      'Whether a sense is measured now.',
      each(({ value, fault }) => value !== null && fault === undefined),
    ),
    family(
      'sinew_sense_beyond',
      'gauge',
      'Whether a sense has passed one of its limits.',
      each(({ warning, low }) => warning ?? low),
    ),
    family('sinew_sense_limit', 'gauge', 'Limit of a sense, in its unit.', limits),
    family(
      'sinew_rail_measured_amperes',
      'gauge',
      'Measured draw of a rail.',
      ofRails('measuredA'),
      'amperes',
    ),
    family(
      'sinew_rail_measured_volts',
      'gauge',
      'Measured voltage of a rail.',
      ofRails('measuredV'),
      'volts',
    ),
  ];
}

/** Of batteries that feed a rail directly; what is not known is left out. */
function batteryFamilies(view: View): string[] {
  const batteries = Object.entries(view.rails()).flatMap(([rail, { battery }]) =>
    battery ? [[rail, battery] as const] : [],
  );
  if (batteries.length === 0) return [];
  const of = (what: 'left' | 'meanA' | 'leftH', scale = 1) =>
    batteries.flatMap(([rail, { [what]: value }]): Sample[] =>
      value === undefined ? [] : [[{ rail }, value * scale]],
    );
  const measured = batteries.map(
    ([rail, { draw }]): Sample => [{ rail }, Number(draw === 'measured')],
  );
  return [
    family('sinew_battery_left_ratio', 'gauge', 'Charge that is left.', of('left'), 'ratio'),
    family('sinew_battery_amperes', 'gauge', 'Mean draw over minutes.', of('meanA'), 'amperes'),
    family('sinew_battery_measured', 'gauge', 'Whether that draw is measured.', measured),
    family(
      'sinew_battery_left_seconds',
      'gauge',
      'How long a battery lasts at its mean draw; an estimate.',
      of('leftH', 3600),
      'seconds',
    ),
  ];
}

function metricsText({ view, sessions, traffic }: Options): string {
  view.refresh();
  const refused = [...traffic.refused].map(([code, n]): Sample => [{ code: String(code) }, n]);
  const amps = Object.entries(view.rails()).map(([rail, { amps }]): Sample => [{ rail }, amps]);
  const limits = view.prop.rails.map(({ name, limitA }): Sample => [{ rail: name }, limitA]);
  // The counter in shared memory is a signed 32-bit number; a wrap looks like a restart.
  const ticks = view.telemetry.coreBeat >>> 0;
  return [
    family(
      'sinew_condition',
      'stateset',
      'Condition of the whole prop.',
      CONDITIONS.map((name) => [{ sinew_condition: name }, Number(name === view.condition)]),
    ),
    family('sinew_sessions', 'gauge', 'WebSocket sessions.', [[{}, sessions.count]]),
    family('sinew_frames', 'counter', 'Frames received.', [[{}, traffic.frames]]),
    family('sinew_refused', 'counter', 'Error answers by JSON-RPC code.', refused),
    family('sinew_rail_amperes', 'gauge', 'Estimated draw of a rail.', amps, 'amperes'),
    family('sinew_rail_limit_amperes', 'gauge', 'Limit of a rail.', limits, 'amperes'),
    ...senseFamilies(view),
    ...batteryFamilies(view),
    family('sinew_core_ticks', 'counter', 'Ticks of the core.', [[{}, ticks]]),
    lateness(view.telemetry.lateness()),
    family(
      'process_resident_memory_bytes',
      'gauge',
      'Resident memory of the daemon.',
      [[{}, process.memoryUsage.rss()]],
      'bytes',
    ),
    '# EOF\n',
  ].join('\n');
}

/** GET /metrics: OpenMetrics 1.0 text. */
export const metrics: FastifyPluginAsync<Options> = async (app, options) => {
  app.get('/metrics', async (_request, reply) => {
    reply.header('content-type', 'application/openmetrics-text; version=1.0.0; charset=utf-8');
    reply.header('cache-control', 'no-store');
    return metricsText(options);
  });
};
