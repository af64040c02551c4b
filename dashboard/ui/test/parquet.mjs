// Prints what hyparquet reads in the Parquet file that is named, as JSON, for
// the test of storage/tracefile: it shares no code with the library that wrote
// the file. Whole numbers are printed as text, since 64 bits are more than a
// JavaScript number holds.
import { readFile } from "node:fs/promises";
import { decompress } from "fzstd";
import { parquetMetadata, parquetReadObjects, parquetSchema } from "hyparquet";

const bytes = await readFile(process.argv[2]);
const file = new Uint8Array(bytes).buffer;
const metadata = parquetMetadata(file);
const rows = await parquetReadObjects({ file, compressors: { ZSTD: (input) => decompress(input) } });

/** @param {{key: string, value?: string}[] | undefined} pairs */
const table = (pairs) => Object.fromEntries((pairs ?? []).map(({ key, value }) => [key, value]));

process.stdout.write(JSON.stringify({
  columns: parquetSchema(metadata).children.map(({ element }) => ({ name: element.name, type: element.type, repetition: element.repetition_type })),
  groups: metadata.row_groups.map((group) => ({
    rows: String(group.num_rows),
    columns: group.columns.map(({ meta_data }) => ({
      path: meta_data?.path_in_schema.join("."),
      codec: meta_data?.codec,
      encodings: meta_data?.encodings,
      says: table(meta_data?.key_value_metadata),
    })),
  })),
  says: table(metadata.key_value_metadata),
  created_by: metadata.created_by,
  rows: rows.map((row) => Object.fromEntries(Object.entries(row).map(([name, v]) => [name, v == null ? null : String(v)]))),
}));
