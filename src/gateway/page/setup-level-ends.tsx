import { Act } from './act.tsx';
import { freshOf } from './sense-walk.ts';
import { apply, canWrite, type Data, said } from './setup-parts-data.ts';
import { levelPoint } from './setup-sense-form.ts';
import { readingOf, senses } from './store.ts';

const NOTHING = 'Nothing is read now: look at the board and its wires.';
const ENDS = [
  [0, '0 %'],
  [1, '100 %'],
] as const;

/** Sets the two points of a level from what is read now. */
export function LevelEnds({ name, data }: { name: string; data: Data }) {
  // Drawn again with every state; a reading may have aged since.
  const volts = name in senses.value ? freshOf(readingOf(name)) : undefined;
  return (
    <fieldset>
      <legend>Calibrate</legend>
      <p class="number">{volts === undefined ? NOTHING : `It reads ${volts.toFixed(3)} V now.`}</p>
      <div class="row">
        {ENDS.map(([level, words]) => {
          const at = levelPoint(data.calibration, level);
          return (
            <Act
              key={level}
              can={canWrite.value && volts !== undefined && at !== undefined}
              onAct={() => {
                const now = freshOf(readingOf(name));
                if (now === undefined) said.value = NOTHING;
                else
                  void apply(`${name} is ${words} at ${now.toFixed(3)} V`, [
                    { path: ['senses', name, 'calibration', at!, 0], value: now },
                  ]);
              }}
            >
              This is {words}
            </Act>
          );
        })}
      </div>
    </fieldset>
  );
}
