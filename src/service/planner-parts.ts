import type { Params, Result } from '../api/methods.ts';
import { planChange } from '../editing/plan.ts';
import { findingInfos } from '../prop/finding-info.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import { Refusal } from '../shared/errors.ts';
import { changesBetween } from './changes.ts';
import { refuseFaulty } from './faulty.ts';

/** What is asked of the planner's thread about the parts of a prop. @param is the version of the text */
export type PartsQuestion = {
  about: 'plan';
  text: string;
  file: string;
  is: string;
} & Params<'prop.plan'>;

/** Plans changes of the file on the disk; the last text that was read is kept. */
export class PartsPlanner {
  #loaded: Loaded | undefined;

  /** @throws Refusal */
  answer({ text, file, is, version, change }: PartsQuestion): Result<'prop.plan'> {
    if (is !== version)
      throw new Refusal(
        'file.other-version',
        'the prop file was changed by somebody else meanwhile, so the change was not planned. Read it again (prop.read), then ask again',
        { version: is, changed: [] },
      );
    if (this.#loaded?.text !== text) this.#loaded = parseProp(text, file);
    const loaded = this.#loaded;
    if (!loaded.prop) return refuseFaulty(loaded);
    const { edits, touches, reasons, cautions, findings, after } = planChange(loaded, change);
    return {
      edits,
      ...{ touches, reasons, cautions },
      findings: findingInfos(findings),
      waits: changesBetween(loaded.raw, after.raw).whenParked,
      version,
    };
  }
}
