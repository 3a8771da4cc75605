// For house_finds_test.py: what js_source.py must count here, said beside each function as its
// lines, its branches. The bodies hold what a scanner could stumble over.

const kOpen = /[{/]\/\(/g, kShare = 4 / 2 / 1;
const kText = `if ${kOpen ? `{ ${kShare}` : '}'} && {`;

export function ladder(a, b) {  // 14, 8
  switch (a) {
    case 1:
    case 2:
      return b;
    default:
      break;
  }
  do {
    --a;
  } while (a > 0 && b > 0);
  if (a === 3) return a?.length;
  return a ?? (b ? 1 : kText);
}

const twice = (a) => a > 1 ? 2 * a : 0;  // 1, 2

export const each = async (all) => {  // 6, 2
  for (const one of all) twice(one);
  try {
    return all.map((one) => ({one, more: one && twice(one)}));  // 1, 2
  } finally { twice(1); }
};

class Held {
  #kept = [];
  get kept() { return this.#kept; }  // 1, 1
  static async take({what = 1} = {}) {  // 4, 2
    while (what.next()) what.drop();
    return new Held(what);
  }
  #drop(one) { return one || this.#kept; }  // 1, 2
}

addEventListener('keydown', function (event) {  // 3, 2
  if (event.key !== 'a') Held.take(event).then((x) => x);  // 1, 1
});
