import type { Result } from '../api/methods.ts';
import { planChange } from '../editing/plan.ts';
import { findingInfos } from '../prop/finding-info.ts';
import { KIND_NAMES } from '../prop/kinds/channel.ts';
import { type Loaded, parseProp } from '../prop/load.ts';
import { partsFor } from '../prop/parts.ts';
import { Refusal } from '../shared/errors.ts';
import { changesBetween } from './changes.ts';
import { refuseFaulty } from './faulty.ts';
import type { PartsQuestion } from './parts-question.ts';

/** Plans changes of the file on the disk; the last text that was read is kept. */
export class PartsPlanner {
  #loaded: Loaded | undefined;

  /** @throws Refusal */
  answer(question: PartsQuestion): Result<'prop.plan'> | Result<'prop.data'> {
    const { text, file, is } = question;
    if (question.about === 'plan' && is !== question.version)
      throw new Refusal(
        'file.other-version',
        'the prop file was changed by somebody else meanwhile, so the change was not planned. Read it again (prop.data), then ask again',
        { version: is, changed: [] },
      );
    if (this.#loaded?.text !== text) this.#loaded = parseProp(text, file);
    const loaded = this.#loaded;
    if (!loaded.prop) return refuseFaulty(loaded);
    if (question.about === 'data')
      return { version: is, data: loaded.raw as Record<string, unknown>, parts: partsByKind() };
    const { version, change } = question;
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

function partsByKind(): Record<string, string[]> {
  return Object.fromEntries(KIND_NAMES.map((kind) => [kind, partsFor(kind)]));
}
