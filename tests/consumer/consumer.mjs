// A program in another language that reads the rule export with general libraries and answers questions about cases.
//
//     node consumer.mjs EXPORT-FOLDER QUESTIONS.json
//
// A question is {"parameter": …, "when": {axis: concept}}. It first holds every file of the folder against the others,
// then answers from rules.json alone, by the steps of the contract, in exact arithmetic.
import assert from 'node:assert/strict';
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import Ajv from 'ajv/dist/2020.js';
import { parse as parseCsv } from 'csv-parse/sync';
import * as yaml from 'js-yaml';
import jsonld from 'jsonld';
import { Parser, Writer } from 'n3';

const [folder, questionsFile] = process.argv.slice(2);
const bytes = (name) => readFileSync(join(folder, name));
const text = (name) => bytes(name).toString('utf8');
const json = (name) => JSON.parse(text(name));
const sha256 = (data) => createHash('sha256').update(data).digest('hex');

const DCAT = 'http://www.w3.org/ns/dcat#';
const DCTERMS = 'http://purl.org/dc/terms/';
const SPDX = 'http://spdx.org/rdf/terms#';
const TC = 'https://w3id.org/trayconcord/def/';

const documentLoader = (url) => { throw new Error(`no network: ${url}`); };
const canonical = (input, options = {}) =>
  jsonld.canonize(input, { algorithm: 'RDFC-1.0', format: 'application/n-quads', documentLoader, ...options });

// --- the files, held against each other ---

function describedFiles() {
  const quads = new Parser().parse(text('dataset.ttl'));
  const object = (subject, predicate) =>
    quads.find((quad) => quad.subject.value === subject && quad.predicate.value === predicate)?.object.value;
  const files = quads.filter((quad) => quad.predicate.value === `${DCAT}distribution`).map((quad) => quad.object.value);
  for (const file of files) {
    const data = bytes(object(file, `${DCTERMS}title`));
    assert.equal(String(data.length), object(file, `${DCAT}byteSize`), `${file}: size`);
    const checksum = object(file, `${SPDX}checksum`);
    assert.equal(sha256(data), object(checksum, `${SPDX}checksumValue`).toLowerCase(), `${file}: checksum`);
  }
  return { files: files.length, graphHash: object('https://w3id.org/trayconcord/export', `${TC}graphHash`) };
}

function schemaHolds(...documents) {
  const ajv = new Ajv({ allErrors: true, strict: false });
  const validate = ajv.compile(json('rules.schema.json'));
  for (const document of documents) assert.ok(validate(document), ajv.errorsText(validate.errors));
}

async function sameGraph(document, graphHash) {
  const expanded = await canonical(document, { safe: true }); // safe: a key that maps to nothing is an error
  assert.equal(sha256(expanded), graphHash, 'rules.json expanded');
  const quads = new Writer({ format: 'N-Quads' }).quadsToString(new Parser().parse(text('rules.ttl')));
  assert.equal(await canonical(quads, { inputFormat: 'application/n-quads' }), expanded, 'rules.ttl');
}

function tablesHold(document) {
  const { tables } = json('csv-metadata.json');
  const read = Object.fromEntries(tables.map(({ url, tableSchema }) => {
    const [header, ...rows] = parseCsv(text(url));
    assert.deepEqual(header, tableSchema.columns.map((column) => column.titles), url);
    return [url, rows.map((row) => Object.fromEntries(header.map((title, at) => [title, row[at]])))];
  }));
  for (const { url, tableSchema } of tables) {
    const titleOf = Object.fromEntries(tableSchema.columns.map((column) => [column.name, column.titles]));
    const keys = read[url].map((row) => JSON.stringify(tableSchema.primaryKey.map((name) => row[titleOf[name]])));
    assert.equal(new Set(keys).size, keys.length, `${url}: primary key`);
    for (const { columnReference: [column], reference } of tableSchema.foreignKeys) {
      const known = new Set(read[reference.resource].map((row) => row[reference.columnReference[0]]));
      for (const row of read[url]) {
        const cell = row[titleOf[column]];
        assert.ok(cell === '' || known.has(cell), `${url}: ${column} ${cell}`);
      }
    }
  }
  const rows = Object.fromEntries(read['rules.csv'].map((row) => [row.id, row]));
  assert.equal(read['rules.csv'].length, document.rules.length);
  for (const rule of document.rules) {
    assert.equal(rows[rule.id].text, rule.value?.text ?? '', rule.id);
    assert.equal(rows[rule.id].min, rule.value?.min?.['@value'] ?? rule.value?.min ?? '', rule.id);
  }
  return tables.length;
}

// --- exact numbers: numerator and denominator ---

function rational(number) {
  if (number === undefined) return undefined;
  if (typeof number === 'object') {
    const [numerator, denominator] = number['@value'].split('/').map(BigInt);
    return { numerator, denominator };
  }
  const [, sign, whole, decimals] = /^(-?)(\d+)\.(\d+)$/.exec(number);
  return { numerator: BigInt(sign + whole + decimals), denominator: 10n ** BigInt(decimals.length) };
}
const less = (one, other) => one.numerator * other.denominator < other.numerator * one.denominator;
const plus = (one, other) => ({
  numerator: one.numerator * other.denominator + other.numerator * one.denominator,
  denominator: one.denominator * other.denominator,
});

// --- answers ---

class Book {
  constructor(document) {
    this.document = document;
    this.broader = new Map(document.concepts.map((concept) => [concept.id, concept.broader]));
    this.origins = new Map(document.sources.map((source) => [source.id, source.origins ?? []]));
    this.parameters = new Map(document.parameters.map((parameter) => [parameter.id, parameter]));
  }

  above(wider, narrower) {
    for (let here = narrower; here !== undefined; here = this.broader.get(here)) if (here === wider) return true;
    return false;
  }

  covers(wider, narrower) {
    return Object.entries(wider).every(([axis, concept]) => axis in narrower && this.above(concept, narrower[axis]));
  }

  narrower(one, other) {
    return JSON.stringify(sorted(one.when)) !== JSON.stringify(sorted(other.when)) && this.covers(one.when, other.when);
  }

  answer({ parameter, when }) {
    const over = (table) =>
      this.document[table].filter((record) => record.parameter === parameter && this.covers(record.when, when));
    const rulings = over('rulings').filter((one, _, all) => !all.some((other) => this.narrower(one, other)));
    if (rulings.length && rulings.every((ruling) => same(ruling.value, rulings[0].value))) {
      return { basis: 'ruling', value: rulings[0].value };
    }
    if (rulings.length) return { basis: 'tied rulings' };
    const said = over('claims')
      .filter((claim) => !('superseded-by' in claim))
      .filter((one, _, all) => !all.some((other) => other.voice === one.voice && this.narrower(one, other)));
    const heard = said.filter((claim) => {
      const origins = this.origins.get(claim.source) ?? [];
      return !said.some((other) => origins.includes(other.voice) && same(other.value, claim.value));
    });
    const voices = new Set(heard.map((claim) => claim.voice));
    if (voices.size < 2) return { basis: voices.size ? 'single' : 'silent' };
    const cited = JSON.stringify(heard.map((claim) => claim.id).sort());
    const rule = over('rules').find(
      ({ positions }) => JSON.stringify([...new Set(positions.flatMap((position) => position.claims))].sort()) === cited,
    );
    if (rule) return { basis: rule.standing, ...(rule.standing === 'agreed' ? { value: rule.positions[0] } : {}) };
    return this.compared(heard.map((claim) => claim.value), this.parameters.get(parameter));
  }

  compared(values, { 'value-kind': kind, tolerance }) {
    if (kind === 'interval' || kind === 'count') return ranges(values, rational(tolerance));
    if (kind === 'choice') {
      const clash = values.some((one) => values.some(
        (other) => !this.above(one.concept, other.concept) && !this.above(other.concept, one.concept)));
      if (clash) return { basis: 'contested' };
      return { basis: 'agreed', value: values.find((one) => values.every((o) => this.above(o.concept, one.concept))) };
    }
    if (kind === 'yes-no') {
      const agreed = values.every((value) => value.yes === values[0].yes);
      return agreed ? { basis: 'agreed', value: values[0] } : { basis: 'contested' };
    }
    return { basis: 'not compared' }; // sets and orders: left to a program that needs them
  }
}

function ranges(values, tolerance) {
  let [low, high] = [undefined, undefined];
  for (const value of values) {
    const [min, max] = [rational(value.min), rational(value.max)];
    if (min && (!low || less(rational(low), min))) low = value.min;
    if (max && (!high || less(max, rational(high)))) high = value.max;
  }
  const [least, most] = [rational(low), rational(high)];
  if (least && most && less(plus(most, tolerance), least)) return { basis: 'contested' };
  const backwards = least && most && less(most, least); // they agree within the tolerance only
  const [min, max] = backwards ? [high, low] : [low, high];
  return { basis: 'agreed', value: { ...(min && { min }), ...(max && { max }), unit: values[0].unit } };
}

const sorted = (record) => Object.entries(record).sort(([one], [other]) => (one < other ? -1 : 1));

function meaning({ id, text, type, claims, steps, ...rest }) { // a value without its name and its words
  return JSON.stringify(sorted({ ...rest, ...(steps && { steps: steps.map((step) => step.step) }) }));
}
const same = (one, other) => meaning(one) === meaning(other);

// --- run ---

const document = json('rules.json');
const { files, graphHash } = describedFiles();
const fromYaml = yaml.load(text('rules.yaml'));
assert.deepEqual(fromYaml, document);
schemaHolds(document, fromYaml);
await sameGraph(document, graphHash);
const tables = tablesHold(document);
const book = new Book(document);
const answers = JSON.parse(readFileSync(questionsFile, 'utf8')).map((question) => book.answer(question));
console.log(JSON.stringify({ files, tables, answers }));
