/** Reads the meter and the converter of prop.yaml until a file is there, and prints what they say. Usage: sense.ts FILE */
import { existsSync } from 'node:fs';
import { setTimeout as wait } from 'node:timers/promises';
import type { Driver, SenseSpec } from '../../../src/boards/board.ts';
import { createDriver } from '../../../src/boards/registry.ts';
import { schemas } from '../../../src/prop/schema.ts';

const TICK_MS = 5;
const ENOUGH = process.argv[2]!;

const made = (spec: object) => createDriver(schemas().board.parse(spec));
const meter = await made({ driver: 'ina226', bus: 0, address: 0x45, shuntOhm: 0.01, maxA: 8 });
const adc = await made({ driver: 'ads1115', bus: 0, address: 0x48 });
const senses: [Driver, SenseSpec[]][] = [
  [
    meter,
    [
      { name: 'amps', quantity: 'current', input: 0 },
      { name: 'volts', quantity: 'volts', input: 0 },
    ],
  ],
  [adc, [{ name: 'angle', quantity: 'volts', input: 0 }]],
];
for (const [driver, specs] of senses) {
  await driver.open([], []);
  await driver.openSenses!(specs);
}
const news: string[] = [];
const read = () =>
  senses.flatMap(([driver, specs]) =>
    specs.map((_, at) => {
      const reading = {
        value: Number.NaN,
        low: Number.POSITIVE_INFINITY,
        atMs: 0,
        fault: undefined as string | undefined,
      };
      driver.reading!(at, performance.now(), reading);
      return { value: reading.value, fault: reading.fault ?? null };
    }),
  );
let ready = false;
for (; !existsSync(ENOUGH); await wait(TICK_MS)) {
  for (const [driver] of senses) {
    driver.check!(performance.now());
    const said = driver.news!();
    if (said !== undefined) news.push(said);
  }
  if (ready || read().some(({ value, fault }) => Number.isNaN(value) && fault === null)) continue;
  ready = true;
  process.stdout.write('ready\n');
}
const readings = read();
for (const [driver] of senses) await driver.close();
process.stdout.write(JSON.stringify({ readings, news }), () => process.exit(0));
