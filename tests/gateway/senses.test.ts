import { afterEach, beforeEach, expect, it } from 'vitest';
import { batteryLines } from '../../src/cli/senses-text.ts';
import { schemas } from '../../src/prop/schema.ts';
import { senseInfos } from '../../src/prop/sense-info.ts';
import { CONDITIONS } from '../../src/shared/condition.ts';
import { BATTERY_FIELD, RAIL_FIELD, SENSE_FIELD } from '../../src/shared/telemetry.ts';
import { type Client, Rig, until } from './helpers.ts';

const { senses } = schemas().propFile.parse({
  ...{ sinew: 1, name: 'x', channels: {}, boards: { meter: { driver: 'sim' } } },
  senses: {
    supply: { kind: 'volts', board: 'meter', rail: 'servo6v', warnBelow: 5.5, parkBelow: 5.2 },
    draw: { kind: 'current', board: 'meter', rail: 'servo6v' },
    lid: { kind: 'contact', board: 'meter', pin: 5 },
  },
});

let rig: Rig;
let client: Client;

beforeEach(async () => {
  rig = await Rig.start({ view: { senses: senseInfos({ senses }) } });
  client = await rig.open();
  const { telemetry } = rig;
  telemetry.begin({ nowS: 2 }, 400, CONDITIONS.indexOf('live'));
  const put = (sense: number, value: number, raw: number, ageS: number) => {
    const at = telemetry.senseAt(sense);
    telemetry.numbers[at + SENSE_FIELD.value] = value;
    telemetry.numbers[at + SENSE_FIELD.raw] = raw;
    telemetry.numbers[at + SENSE_FIELD.ageS] = ageS;
  };
  put(0, 5.41234, 5.4, 0.02);
  put(1, Number.NaN, Number.NaN, Number.POSITIVE_INFINITY);
  put(2, 1, 1, 0);
  const rail = telemetry.railAt(0);
  telemetry.numbers[rail + RAIL_FIELD.amps] = 1.5;
  telemetry.numbers[rail + RAIL_FIELD.measuredA] = Number.NaN;
  telemetry.numbers[rail + RAIL_FIELD.measuredV] = 5.41234;
  telemetry.commit();
  const notes = [
    { name: 'supply', what: 'warning', text: 'supply is below 5.50 V' },
    { name: 'draw', what: 'fault', text: 'draw is not measured: no answer' },
  ] as const;
  rig.send({ t: 'safety', safety: { lockout: null, guards: [], notParked: null, senses: notes } });
  const told = async () => (await client.call('sense.list', {})).result.senses.supply.warning;
  while ((await told()) === undefined);
});
afterEach(() => rig.end());

const RAILS = { servo6v: { amps: 1.5, measuredV: 5.412, limitA: 5 } };

it('a state has what is measured; what is not is null, and says why', async () => {
  await client.call('state.follow', { hz: 50 });
  rig.clock.advance(0);
  await until(() => client.messages.some(({ method }) => method === 'state'), 'a state');
  const { params } = client.messages.find(({ method }) => method === 'state')!;
  expect(params.senses).toEqual({
    supply: {
      kind: 'volts',
      value: 5.412,
      unit: 'V',
      raw: 5.4,
      ageS: 0,
      warning: 'supply is below 5.50 V',
    },
    draw: { kind: 'current', value: null, unit: 'A', fault: 'draw is not measured: no answer' },
    lid: { kind: 'contact', value: 1, unit: '', raw: 1, ageS: 0 },
  });
  expect(params.rails).toEqual(RAILS);
});

it('sense.list has the limits and what each is of', async () => {
  const { result } = await client.call('sense.list', {});
  expect(result.senses.supply).toEqual({
    ...{ kind: 'volts', unit: 'V', board: 'meter', rail: 'servo6v', forS: 0.5 },
    ...{ limits: { parkBelow: 5.2, warnBelow: 5.5 }, value: 5.412, raw: 5.4, ageS: 0 },
    warning: 'supply is below 5.50 V',
  });
  expect(result.senses.lid).toMatchObject({ kind: 'contact', pin: 5, limits: {} });
  expect(result.rails).toEqual(RAILS);
});

it('the metrics: a gap where it is not measured, and a 0 that says so', async () => {
  const text = await (await fetch(`http://127.0.0.1:${rig.port}/metrics`)).text();
  for (const line of [
    'sinew_sense_volts{sense="supply"} 5.412',
    'sinew_sense_closed{sense="lid"} 1',
    'sinew_sense_measured{sense="supply"} 1',
    'sinew_sense_measured{sense="draw"} 0',
    'sinew_sense_beyond{sense="supply"} 1',
    'sinew_sense_limit{sense="supply",limit="parkBelow"} 5.2',
    'sinew_rail_measured_volts{rail="servo6v"} 5.412',
    'sinew_rail_amperes{rail="servo6v"} 1.5',
  ])
    expect(text).toContain(`${line}\n`);
  expect(text).not.toContain('sinew_sense_amperes');
});

it('a battery: what is left, and for how long; in words where numbers would say too much', async () => {
  const battery = { capacityAh: 10, ratedH: 20, peukert: 1 };
  await rig.end();
  rig = await Rig.start({
    view: { rails: [{ name: 'servo6v', limitA: 5, volts: 6, battery }], senses: [] },
  });
  client = await rig.open();
  const { telemetry } = rig;
  telemetry.begin({ nowS: 2 }, 400, CONDITIONS.indexOf('live'));
  const at = telemetry.railAt(0) + RAIL_FIELD.battery;
  telemetry.numbers[at + BATTERY_FIELD.left] = 0.5;
  telemetry.numbers[at + BATTERY_FIELD.counted] = 1;
  telemetry.numbers[at + BATTERY_FIELD.meanA] = 2;
  telemetry.numbers[at + BATTERY_FIELD.measured] = 1;
  telemetry.numbers[at + BATTERY_FIELD.expectedV] = Number.NaN;
  telemetry.commit();
  const { rails } = (await client.call('sense.list', {})).result;
  const state = { left: 0.5, by: 'counted', meanA: 2, draw: 'measured', fullH: 5, leftH: 2.5 };
  expect(rails.servo6v.battery).toEqual(state);
  expect(batteryLines(rails)).toEqual([
    'battery of servo6v: about 2.5 h, estimated, at a measured 2.00 A (50 % left, counted since it was full)',
  ]);
  const text = await (await fetch(`http://127.0.0.1:${rig.port}/metrics`)).text();
  for (const line of [
    'sinew_battery_left_ratio{rail="servo6v"} 0.5',
    'sinew_battery_measured{rail="servo6v"} 1',
    'sinew_battery_left_seconds{rail="servo6v"} 9000',
  ])
    expect(text).toContain(line);
});
