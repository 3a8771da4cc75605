// Automatic part of WCAG 2.1 A and AA, with the rules of axe-core.
import {readFileSync} from 'node:fs';

const kTags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice'];
let source = '';

async function violations(world, page, runOnly) {
  source ||= readFileSync(world.require.resolve('axe-core/axe.min.js'), 'utf8');
  await page.evaluate(`if (!window.axe) { ${source} }`);
  return page.evaluate(async (only) => {
    const found = await window.axe.run(document, {runOnly: only, preload: false, resultTypes: ['violations']});
    return found.violations.map((v) => [v.id, v.impact, ...v.nodes.slice(0, 3).map((n) => [n.target.join(' '), (n.any[0] ?? n.all[0] ?? n.none[0])?.message])]);
  }, runOnly);
}

/// As the page is now, light and dark; what is dark differs by its colours alone.
export async function axe(world, page, name) {
  for (const colorScheme of ['light', 'dark']) {
    await page.emulateMedia({colorScheme});
    const found = await violations(world, page, colorScheme === 'light' ? {type: 'tag', values: kTags} : {type: 'rule', values: ['color-contrast', 'link-in-text-block']});
    world.check(`axe, ${name}, ${colorScheme}`, found.length === 0, found.length ? found : '');
  }
  await page.emulateMedia({colorScheme: 'light'});
}
