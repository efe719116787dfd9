import type { Finding } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { withSoundFiles } from '../prop/sound-files.ts';
import { readText } from '../prop/text.ts';
import { decodeSound } from '../sound/decode.ts';
import { readSound, soundProblem } from '../sound/read-sound.ts';

/**
 * What is wrong within the sound files beside a prop file, as warnings: the prop works without them. Each is
 * decoded whole. A kept result of a check does not cover it, as it is about the text alone.
 * @param of the text, and what was made of it where it was parsed already
 */
export async function soundFindings(
  file: string,
  { text, source = readText(text) }: Pick<Loaded, 'text'> & Partial<Loaded>,
): Promise<Finding[]> {
  const { sounds } = source.raw as { sounds?: Record<string, string | { file: string }> };
  const { soundFiles = {} } = withSoundFiles({ sounds: sounds ?? {} }, file);
  const findings: Finding[] = [];
  for (const [name, { file: own, path, problem }] of Object.entries(soundFiles)) {
    // The check of the text has said that already.
    if (problem) continue;
    try {
      await decodeSound(await readSound(path));
    } catch (error) {
      const { wrong, right } = soundProblem(error as Error);
      findings.push(
        source.place({
          severity: 'warning',
          path: ['sounds', name],
          wrong: `${name} will not be heard: ${own}: ${wrong}`,
          right,
        }),
      );
    }
  }
  return findings;
}
