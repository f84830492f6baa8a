"""The pages: the only room that imports Streamlit."""
