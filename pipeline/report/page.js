// The page at work: rows found and filtered, tables sorted. Without it the page is whole, only still.
// It makes its controls itself, puts text in as text alone, and asks nobody for anything.
'use strict';
(() => {
  const FILTERS = [['depot', ['depot']], ['action', ['action', 'do', 'disposition']], ['model', ['model', 'what it is']]];
  const NAMES = ['unit', 'vehicle', 'vin'];
  const narrow = matchMedia('(max-width:48rem)');
  const text = (cell) => cell ? cell.textContent.trim() : '';
  // "this week, charge and test it first" is the action "this week".
  const kind = (cell) => text(cell).split(',')[0];
  const element = (name, attributes, words) => {
    const made = document.createElement(name);
    Object.entries(attributes).forEach(([key, value]) => made.setAttribute(key, value));
    if (words) made.textContent = words;
    return made;
  };

  const tables = [...document.querySelectorAll('main table')].map((table) => {
    const heads = [...table.querySelectorAll('thead th')];
    const labels = heads.map((head) => text(head).toLowerCase());
    return { table, heads, labels, body: table.tBodies[0], rows: table.tBodies[0] ? [...table.tBodies[0].rows] : [] };
  });
  const columns = (table, names) => table.labels.flatMap((label, at) => names.includes(label) ? [at] : []);

  // What a cell is sorted by: a number where it begins with one, else its words; nothing goes last.
  const key = (cell) => {
    const words = text(cell).replace(/^about /, '');
    if (words === '' || words === 'not known') return null;
    if (/^\d{4}-\d{2}-\d{2}/.test(words)) return words;
    const chance = words.match(/^(?:more than |below )?(\d+) in ([\d,]+)/);
    if (chance) return Number(chance[1]) / Number(chance[2].replaceAll(',', ''));
    const months = words.match(/^(\d+) months/);
    if (months) return Number(months[1]) / 12;
    const number = words.replaceAll(',', '').match(/^[^\p{L}\d-]{0,3}(-?)[^\p{L}\d]{0,3}(\d+(?:\.\d+)?)/u);
    return number ? Number(number[1] + number[2]) : words.toLowerCase();
  };
  const order = (a, b) => {
    if (a === null || b === null) return (a === null) - (b === null);
    if (typeof a === 'number' && typeof b === 'number') return a - b;
    return String(a).localeCompare(String(b), 'en', { numeric: true });
  };
  const sort = (table, at, direction) => {
    const keyed = table.rows.map((row, place) => ({ row, place, key: key(row.cells[at]) }));
    keyed.sort((a, b) => {
      const by = order(a.key, b.key);
      const missing = a.key === null || b.key === null;
      return (missing ? by : by * direction) || a.place - b.place;
    });
    table.body.append(...keyed.map((each) => each.row));
  };

  const buttons = [];
  tables.filter((table) => table.rows.length > 1).forEach((table) => {
    table.heads.forEach((head, at) => {
      const button = element('button', { type: 'button', class: 'sort' }, text(head));
      head.replaceChildren(button);
      buttons.push(button);
      button.addEventListener('click', () => {
        const rising = head.getAttribute('aria-sort') !== 'ascending';
        table.heads.forEach((other) => other.removeAttribute('aria-sort'));
        head.setAttribute('aria-sort', rising ? 'ascending' : 'descending');
        sort(table, at, rising ? 1 : -1);
      });
    });
  });
  // Told as cards, a table has no header to press.
  const reach = () => buttons.forEach((button) => {
    button.tabIndex = narrow.matches && button.closest('table').classList.contains('cards') ? -1 : 0;
  });
  narrow.addEventListener('change', reach);
  reach();

  const main = document.querySelector('main');
  const bar = element('form', { class: 'bar', role: 'search', 'aria-label': 'Find and filter rows' });
  const wanted = {};
  const field = (name, words, control) => {
    const label = element('label', { for: control.id }, words);
    const box = element('span', {});
    box.append(label, control);
    bar.append(box);
    wanted[name] = control;
    control.addEventListener('input', show);
  };
  const status = element('p', { role: 'status' });

  const hits = (table, row, names, test) => {
    const at = columns(table, names);
    return at.length === 0 ? null : at.some((column) => test(row.cells[column]));
  };
  function show() {
    const find = wanted.find ? wanted.find.value.trim().toLowerCase() : '';
    const chosen = FILTERS.filter(([name]) => wanted[name] && wanted[name].value);
    let shown = 0;
    let all = 0;
    tables.forEach((table) => table.rows.forEach((row) => {
      const answers = chosen.map(([name, names]) => hits(table, row, names, (cell) => kind(cell) === wanted[name].value));
      if (find) answers.push(hits(table, row, NAMES, (cell) => text(cell).toLowerCase().includes(find)));
      // A table that has no such column is left as it is.
      const asked = answers.filter((answer) => answer !== null);
      row.hidden = asked.includes(false);
      if (asked.length > 0) {
        all += 1;
        shown += row.hidden ? 0 : 1;
      }
    }));
    status.textContent = find || chosen.length ? `${shown} of ${all} rows shown` : '';
  }

  if (tables.some((table) => columns(table, NAMES).length)) {
    field('find', 'Find a unit', element('input', { type: 'search', id: 'bar-find', autocomplete: 'off' }));
  }
  FILTERS.forEach(([name, names]) => {
    const values = new Set();
    tables.forEach((table) => columns(table, names).forEach((at) => table.rows.forEach((row) => values.add(kind(row.cells[at])))));
    values.delete('');
    if (values.size < 2 || values.size > 200) return;
    const select = element('select', { id: `bar-${name}` });
    select.append(element('option', { value: '' }, 'all'));
    [...values].sort((a, b) => a.localeCompare(b, 'en', { numeric: true })).forEach((value) => select.append(element('option', { value }, value)));
    field(name, name[0].toUpperCase() + name.slice(1), select);
  });
  bar.addEventListener('submit', (event) => {
    event.preventDefault();
    const first = tables.flatMap((table) => columns(table, NAMES).length ? table.rows : []).find((row) => !row.hidden);
    if (first) first.scrollIntoView({ block: 'center' });
  });
  bar.addEventListener('reset', () => setTimeout(show));
  if (Object.keys(wanted).length) {
    bar.append(element('button', { type: 'reset' }, 'Show all'), status);
    const heading = main.querySelector('nav') || main.querySelector('h1');
    if (heading) heading.after(bar); else main.prepend(bar);
  }
})();
