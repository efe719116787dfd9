import { Act } from './act.tsx';
import { apply, canWrite, type Data } from './setup-parts-data.ts';
import { levelPoint } from './setup-sense-form.ts';
import { senses } from './store.ts';

const ENDS = [
  [0, '0 %'],
  [1, '100 %'],
] as const;

/** Sets the two points of a level from what is read now. */
export function LevelEnds({ name, data }: { name: string; data: Data }) {
  const volts = senses.value[name]?.raw;
  return (
    <fieldset>
      <legend>Calibrate</legend>
      <p class="number">
        {volts === undefined
          ? 'Nothing is read now: look at the board and its wires.'
          : `It reads ${volts.toFixed(3)} V now.`}
      </p>
      <div class="row">
        {ENDS.map(([level, words]) => {
          const at = levelPoint(data.calibration, level);
          return (
            <Act
              key={level}
              can={canWrite.value && volts !== undefined && at !== undefined}
              onAct={() =>
                void apply(`${name} is ${words} at ${volts!.toFixed(3)} V`, [
                  { path: ['senses', name, 'calibration', at!, 0], value: volts! },
                ])
              }
            >
              This is {words}
            </Act>
          );
        })}
      </div>
    </fieldset>
  );
}
