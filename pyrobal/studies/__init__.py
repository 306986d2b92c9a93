"""Many scenarios of one case: sweep, aim, window, uncertainty, sensitivity, blend.

Read in this order: variable, grid, run, table, store, sweep; then aim, and the studies that build on them.

Every study works through its scenarios in chunks, which any ``concurrent.futures.Executor`` may run. One
that spans machines is that of a Dask cluster; the study is the same and so are its numbers:

    from distributed import Client

    with Client("tcp://scheduler:8786") as client:      # or Client() for this machine's cores
        pyrobal.sweep(case, {"smelting.enrichment": "45 %:75 %:31"}, read=["smelting.heat.surplus"],
                      executor=client.get_executor())

Each worker needs this version of pyrobal with these thermochemical tables; a chunk that meets others is
refused. The cluster starts the chunk of a worker that died again on another one.
"""
